package main

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"weald/ingest/ble"
	"weald/ingest/serialport"
)

func newPorts() *cobra.Command {
	scan := 5 * time.Second
	cmd := &cobra.Command{
		Use:   "ports",
		Short: "List the serial ports and Bluetooth peripherals that could be bridges",
		Long: `Lists the serial ports of this machine, with a path that survives replugging where
there is one, and then the Bluetooth peripherals in reach: those that advertise
frames first, the others by strength.`,
		Example: "  weald ports\n  weald ports --scan 20s",
		Args:    arguments(cobra.NoArgs),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if scan < 0 || scan > 5*time.Minute {
				return usageError{errors.New("--scan must be from 0s to 5m")}
			}
			ports, err := serialport.Ports()
			if err != nil {
				return err
			}
			if len(ports) == 0 {
				fmt.Fprintln(cmd.ErrOrStderr(), "no serial port: is a bridge plugged in?")
			}
			if err := listPorts(cmd.OutOrStdout(), ports); err != nil || scan == 0 {
				return err
			}
			return listPeripherals(cmd, scan, len(ports) > 0)
		},
	}
	cmd.Flags().DurationVar(&scan, "scan", scan, "how long to listen for Bluetooth peripherals; 0 for not at all")
	return cmd
}

// listPorts prints a table, and nothing where there is no port.
func listPorts(w io.Writer, ports []serialport.Port) error {
	if len(ports) == 0 {
		return nil
	}
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "PATH\tSTABLE PATH\tDEVICE")
	for _, p := range ports {
		fmt.Fprintf(table, "%s\t%s\t%s\n", p.Path, orDash(p.Stable), orDash(selfTold(p)))
	}
	return table.Flush()
}

// selfTold is what a USB device says of itself, with its numbers as the
// configuration takes them.
func selfTold(p serialport.Port) string {
	if p.Vendor == "" {
		return ""
	}
	words := []string{"usb " + p.Vendor + ":" + p.Product}
	if p.Serial != "" {
		words = append(words, "serial "+p.Serial)
	}
	if p.Label == "" {
		return strings.Join(words, ", ")
	}
	return p.Label + " (" + strings.Join(words, ", ") + ")"
}

// listPeripherals prints a table of what the radio hears. That there is no
// Bluetooth is no failure: most machines with serial ports have none.
func listPeripherals(cmd *cobra.Command, scan time.Duration, apart bool) error {
	found, err := ble.List(cmd.Context(), scan)
	switch {
	case cmd.Context().Err() != nil:
		return cmd.Context().Err()
	case err != nil:
		if inner := errors.Unwrap(err); inner != nil {
			err = inner // without what was being done, which is plain here
		}
		fmt.Fprintln(cmd.ErrOrStderr(), "no Bluetooth:", strings.ReplaceAll(err.Error(), "\n", "; "))
		return nil
	case len(found) == 0:
		fmt.Fprintf(cmd.ErrOrStderr(), "no Bluetooth peripheral was heard within %v\n", scan)
		return nil
	}
	if apart {
		fmt.Fprintln(cmd.OutOrStdout())
	}
	table := tabwriter.NewWriter(cmd.OutOrStdout(), 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "ADDRESS\tNAME\tSIGNAL\tOFFERS\tADAPTER")
	for _, p := range found {
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\n", p.Address, orDash(printable(p.Name)), heard(p), orDash(offers(p)), p.Adapter)
	}
	return table.Flush()
}

func heard(p ble.Peripheral) string {
	if p.RSSI == 0 {
		return "connected"
	}
	return fmt.Sprintf("%d dBm", p.RSSI)
}

func offers(p ble.Peripheral) string {
	var all []string
	if p.Frames {
		all = append(all, "frames")
	}
	if p.Pressure {
		all = append(all, "pressure")
	}
	return strings.Join(all, ", ")
}

// printable keeps what a stranger calls itself from moving the cursor.
func printable(s string) string {
	return strings.Map(still, s)
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

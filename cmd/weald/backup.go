package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"weald/stream/audit"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

func newBackup() *cobra.Command {
	var file, data string
	var verify bool
	cmd := &cobra.Command{
		Use:   "backup -c FILE DIR [--verify]",
		Short: "Copy the record, also while it is being written",
		Long: `Copies the record as it is at one instant into a new folder. If a daemon is using
it, the daemon does the copying and misses nothing meanwhile.

With --verify the copy is read from front to back and held against what it should
hold; without -c, a copy that was made before.`,
		Example: "  weald backup -c weald.yaml /mnt/stick/2026-03-01 --verify\n  weald backup --verify /mnt/stick/2026-03-01",
		Args:    arguments(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if file != "" || data != "" {
				if err := backup(cmd, file, data, args[0]); err != nil {
					return err
				}
			} else if !verify {
				return usageError{errors.New("say which configuration: -c weald.yaml")}
			}
			if !verify {
				return nil
			}
			return verifyBackup(cmd, args[0])
		},
	}
	cmd.Flags().StringVarP(&file, "config", "c", "", "the configuration")
	cmd.Flags().StringVar(&data, "data", "", "the folder with the record, if it is not the configuration's")
	cmd.Flags().BoolVar(&verify, "verify", false, "read the copy and say what is wrong with it")
	return cmd
}

func backup(cmd *cobra.Command, file, data, to string) error {
	dir, err := folderOf(cmd, file, data)
	if err != nil {
		return err
	}
	if to, err = filepath.Abs(to); err != nil {
		return err
	}
	noteDeed(cmd, dir, record.Deed{What: audit.BackedUp})
	p := newProgress(cmd.ErrOrStderr(), "backup")
	defer p.end()
	tell := p.tellPages
	store, err := openRecord(cmd.Context(), dir)
	switch {
	case inUse(err):
		err = askDaemon(cmd.Context(), dir, question{Backup: to}, func(l answerLine) { tell(l.Copied, l.Known) })
	case err == nil:
		_, err = store.Backup(cmd.Context(), to, tell)
		err = errors.Join(err, store.Close())
	}
	if err != nil {
		return err
	}
	p.end()
	fmt.Fprintf(cmd.OutOrStdout(), "the record in %s was copied to %s\n", dir, harmless(to))
	return nil
}

// folderOf returns the folder that flags name, by a configuration or outright.
func folderOf(cmd *cobra.Command, file, data string) (string, error) {
	if data != "" {
		return data, nil
	}
	_, dir, err := loadData(cmd, file, "")
	return dir, err
}

func verifyBackup(cmd *cobra.Command, dir string) error {
	wrong := 0
	for finding, err := range sqlite.Verify(cmd.Context(), dir) {
		if err != nil {
			return err
		}
		wrong++
		fmt.Fprintln(cmd.OutOrStdout(), finding)
	}
	if err := context.Cause(cmd.Context()); err != nil {
		return err
	}
	if wrong > 0 {
		return errFound
	}
	fmt.Fprintf(cmd.OutOrStdout(), "nothing is wrong with the copy in %s\n", dir)
	return nil
}

func newRestore() *cobra.Command {
	var data string
	cmd := &cobra.Command{
		Use:   "restore DIR --data DIR",
		Short: "Put a copy of the record where a daemon can go on with it",
		Long: `Puts a backup into a new or empty folder, from where a daemon goes on with it: the
same history, the same alerts, holds that go on where they stood. The time since
the backup counts as unknown. A backup with anything wrong is refused.`,
		Example: "  weald restore /mnt/stick/2026-03-01 --data /var/lib/weald",
		Args:    arguments(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			if data == "" {
				return usageError{errors.New("say where to: --data /var/lib/weald")}
			}
			if err := sqlite.Restore(cmd.Context(), args[0], data); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "the record was put into %s\n", data)
			return nil
		},
	}
	cmd.Flags().StringVar(&data, "data", "", "the folder for the record")
	return cmd
}

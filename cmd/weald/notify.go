package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"weald/config"
	"weald/ingest/sample"
	"weald/stream/audit"
	"weald/stream/notify"
	"weald/stream/notify/outbox"
	"weald/stream/record"
)

// testWithin is how long a test may take.
const testWithin = 40 * time.Second

func newNotify() *cobra.Command {
	cmd := &cobra.Command{
		Use:     "notify",
		Short:   "Look after the ways on which messages about alerts go",
		Example: "  weald notify test -c weald.yaml desk",
	}
	var path string
	test := &cobra.Command{
		Use:   "test -c FILE SENDER",
		Short: "Send a test now, and say whether it was taken",
		Long: `Sends a test on the way of one sender of the configuration, and says whether the
receiver has taken it. A running daemon that uses the same data sends it, once a
minute, and not while so many messages wait that it would be in their way; without
one it is sent at once, and nothing is kept of it.

A receiver that takes a message need not show it to anybody: look whether it came.

` + caution,
		Example: "  weald notify test -c weald.yaml desk",
		Args:    arguments(cobra.ExactArgs(1)),
		RunE: func(cmd *cobra.Command, args []string) error {
			c, err := load(cmd, path)
			if err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(cmd.Context(), testWithin)
			defer cancel()
			if c.Data != "" {
				noteDeed(cmd, c.Data, record.Deed{What: audit.Tested, Subject: args[0]})
			}
			if err := sendTest(ctx, c, args[0]); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "the receiver of %s has taken a test; look whether somebody sees it\n", args[0])
			return nil
		},
	}
	test.Flags().StringVarP(&path, "config", "c", "", "the configuration")
	cmd.AddCommand(test)
	return cmd
}

func sendTest(ctx context.Context, c *config.Config, id string) error {
	for i := range c.Notify {
		s := &c.Notify[i]
		if s.ID != id {
			continue
		}
		err := askDaemon(ctx, c.Data, question{Test: id}, func(answerLine) {})
		if _, alone := errors.AsType[notReached](err); !alone {
			return err
		}
		way := senderOf(s)
		if shower, ok := way.(outbox.Shower); ok {
			defer shower.Close()
		}
		now := sample.At(time.Now())
		return way.Send(ctx, &notify.Sending{At: now, Zone: time.Local,
			Message: notify.Message{Sender: id, Key: fmt.Sprintf("test.%s.%d", id, now), About: notify.Test, Queued: now}})
	}
	return fmt.Errorf("%s: %w in the configuration", id, outbox.ErrNoSender)
}

// answerTest is the daemon's part of it.
func (s *senders) answerTest(ctx context.Context, id string) error {
	if s == nil {
		return errors.New("the running daemon was started without senders: start it again")
	}
	ctx, cancel := context.WithTimeout(ctx, testWithin)
	defer cancel()
	return s.box.Test(ctx, id)
}

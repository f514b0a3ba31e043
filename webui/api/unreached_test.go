package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/journal"
	"weald/stream/pipeline"
)

// Where the servers of the log do not answer a person is told what is known of what became of it, and
// no more: that nothing was changed only where nothing of it can be kept any more.
func TestWhatIsKnownOfADeedIsSaid(t *testing.T) {
	sure := fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	for _, c := range []struct {
		name string
		err  error
		says string
	}{
		{"a note in doubt", journal.ErrUnreached, "whether it was kept is not known"},
		{"a note that was not sent", sure, "nothing was changed"},
		{"an acknowledgement that was not sent", fmt.Errorf("%w: %w", pipeline.ErrNotKept, sure), "nothing was changed"},
		{"an acknowledgement in doubt", fmt.Errorf("%w: %w; %w", pipeline.ErrWaits, journal.ErrUnreached, journal.ErrLater), "it is done, and waits to be kept"},
		{"a disk that is full here, and not elsewhere", fmt.Errorf("%w; %w", journal.ErrFull, journal.ErrLater), "will be kept"},
		{"a disk that is full", journal.ErrFull, "it was not kept"},
	} {
		for _, err := range []error{notKept(c.err), doorError(c.err)} {
			if errors.Is(c.err, pipeline.ErrWaits) || errors.Is(c.err, pipeline.ErrNotKept) {
				err = deedError(c.err)
			}
			var said huma.StatusError
			if !errors.As(err, &said) || said.GetStatus() != http.StatusServiceUnavailable || !strings.Contains(err.Error(), c.says) ||
				strings.Contains(err.Error(), "nothing was changed") != errors.Is(c.err, journal.ErrUnchanged) {
				t.Errorf("%s: %v", c.name, err)
			}
		}
	}
}

type fixedFile struct {
	Configuration
	err error
}

func (f fixedFile) Apply(*string, string, string) (Applied, error) { return Applied{}, f.err }

// A configuration that is in order and cannot be kept now is no fault of the text: 503, and 422 for one
// that is at fault.
func TestAReloadThatCannotBeKept(t *testing.T) {
	for err, want := range map[error]int{
		fmt.Errorf("what waits cannot be kept: %w", journal.ErrUnreached): http.StatusServiceUnavailable,
		fmt.Errorf("what waits cannot be kept: %w", journal.ErrFull):      http.StatusServiceUnavailable,
		errors.New("data: restart weald for it"):                          http.StatusUnprocessableEntity,
	} {
		s := &server{Options: Options{Configuration: fixedFile{err: err}}}
		in := &configApply{}
		in.Body.Code = "K-07"
		_, got := s.applyConfiguration(context.Background(), in)
		var said huma.StatusError
		if !errors.As(got, &said) || said.GetStatus() != want || !strings.Contains(got.Error(), err.Error()) {
			t.Errorf("%v: %v", err, got)
		}
	}
}

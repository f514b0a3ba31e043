package emulate

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"time"

	"weald/ingest/frame"
)

// An Encoding is how scans become bytes.
type Encoding struct {
	Line   bool         // line format; else packed
	Coding frame.Coding // of packed readings
	Split  int          // packed: most readings in a frame; 0 for no limit

	// Bare is for packed frames over links that keep messages apart: each is sent
	// without COBS and delimiter. A scan is one frame then, without Split and
	// Firmware.
	Bare bool
}

// A Player sends a Stream. Its fields may not change while it plays.
type Player struct {
	Stream   Stream
	Encoding Encoding

	// Speed is how many seconds of the stream pass in one second; 0 sends
	// everything as fast as it is taken.
	Speed float64

	// Starts is the device counter of the stream's beginning, in ms; Skew is
	// how many millionths the device's clock runs too fast.
	Starts uint32
	Skew   float64

	// Firmware, in packed format, makes each source say how it is now and
	// then: its name, a battery that empties, its temperature.
	Firmware string

	Damage Damage
	Seed   uint64 // of the damage

	seqs    map[uint16]uint32
	told    map[uint16]time.Duration // when each source last said how it is
	frame   frame.Frame
	bare    []byte
	encoded []byte
	out     []byte
}

// held is how late a scan may go out before a sensor that measures on meanwhile
// has lost it.
const held = 2 * time.Second

// deadliner is a writer whose writes can be cut short, as a Port's can.
type deadliner interface {
	SetWriteDeadline(time.Time) error
}

// Play sends the stream to w until it ends, which returns nil, until ctx does,
// or until w refuses. It returns the cause of ctx where that ended it; a write
// that waits is cut short where w has a SetWriteDeadline.
func (p *Player) Play(ctx context.Context, w io.Writer) error {
	if d, ok := w.(deadliner); ok {
		defer context.AfterFunc(ctx, func() { _ = d.SetWriteDeadline(time.Unix(1, 0)) })()
	}
	chance := rand.New(noise(p.Seed, 'd'))
	if p.seqs == nil {
		p.seqs, p.told = make(map[uint16]uint32), make(map[uint16]time.Duration)
	}
	began := time.Now()
	timer := time.NewTimer(0)
	defer timer.Stop()
	<-timer.C
	port, _ := w.(*Port)
	var s Scan
	late := false
	for {
		switch err := p.Stream.Next(&s); {
		case err == io.EOF:
			return nil
		case err != nil:
			return err
		}
		if err := p.wait(ctx, timer, began, s.At); err != nil {
			return err
		}
		if port != nil && p.Damage.UnplugEvery > 0 {
			if p.Damage.unplugged(s.At) {
				port.Unplug()
			} else if err := port.Plug(); err != nil {
				return err
			}
		}
		if err := p.encode(&s, chance); err != nil {
			return err
		}
		write := w.Write
		if late && port != nil {
			write = port.WriteAnew
		}
		if _, err := write(p.out); err != nil {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if !errors.Is(err, os.ErrDeadlineExceeded) {
				return fmt.Errorf("sending a scan: %w", err)
			}
		}
		late = p.catchUp(began, s.At)
	}
}

// wait returns when at has come.
func (p *Player) wait(ctx context.Context, timer *time.Timer, began time.Time, at time.Duration) error {
	if p.Speed > 0 {
		if early := time.Until(began.Add(p.real(at))); early > 0 {
			timer.Reset(early)
			select {
			case <-ctx.Done():
			case <-timer.C:
			}
		}
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}

// real converts a time of the stream to one of this world.
func (p *Player) real(at time.Duration) time.Duration {
	return time.Duration(float64(at) / p.Speed)
}

// catchUp makes a stream that can skip do so when its writes were held up, and says
// whether they were.
func (p *Player) catchUp(began time.Time, at time.Duration) bool {
	skipper, ok := p.Stream.(Skipper)
	if !ok || p.Speed <= 0 {
		return false
	}
	elapsed := time.Since(began)
	if elapsed-p.real(at) < held {
		return false
	}
	skipper.SkipTo(time.Duration(float64(elapsed) * p.Speed))
	return true
}

// encode puts the frames of s into p.out.
func (p *Player) encode(s *Scan, chance *rand.Rand) error {
	p.out = p.out[:0]
	step := len(s.Values)
	if n := p.Encoding.Split; n > 0 && n < step && !p.Encoding.Line {
		step = n
	}
	parts := 1
	if step > 0 {
		parts = (len(s.Values) + step - 1) / step
	}
	f := &p.frame
	*f = frame.Frame{
		Kind: frame.Readings, Source: s.Source, Wall: f.Wall,
		Seq:    p.seqs[s.Source] + uint32(s.Lost*parts),
		Millis: p.millis(s.At),
	}
	for first := 0; first < len(s.Values); first += step {
		end := min(first+step, len(s.Values))
		f.First, f.Readings, f.More = first, s.Values[first:end], end < len(s.Values)
		if err := p.append(f); err != nil {
			return err
		}
		p.out = p.Damage.send(p.out, p.encoded, chance)
		f.Seq++
	}
	if p.Firmware != "" && !p.Encoding.Line {
		if last, ok := p.told[s.Source]; !ok || s.At-last >= tellEvery {
			p.told[s.Source] = s.At
			f.Kind, f.First, f.Readings, f.More = frame.Status, 0, nil, false
			f.Health = p.health(s)
			if err := p.append(f); err != nil {
				return err
			}
			p.out = p.Damage.send(p.out, p.encoded, chance)
			f.Seq++
		}
	}
	p.seqs[s.Source] = f.Seq
	return nil
}

// tellEvery is how often a source says how it is.
const tellEvery = time.Minute

// health is a cell that lasts about two days, not as full for higher numbers.
func (p *Player) health(s *Scan) frame.Health {
	left := max(0.05, 1-0.04*float64(s.Source%8)-s.At.Hours()/48)
	return frame.Health{
		BatteryMV:      int(3400 + 750*left),
		BatteryPercent: int(100 * left),
		Celsius:        29 + int(s.Source%3),
		UptimeS:        uint32(s.At / time.Second),
		Firmware:       p.Firmware,
	}
}

// millis is the device's counter at a time of the stream.
func (p *Player) millis(at time.Duration) uint32 {
	ms := float64(at) / float64(time.Millisecond) * (1 + p.Skew*1e-6)
	return p.Starts + uint32(uint64(math.Round(ms)))
}

// append puts one frame into p.encoded as it goes over a byte stream.
func (p *Player) append(f *frame.Frame) (err error) {
	if p.Encoding.Line {
		p.encoded, err = frame.AppendLine(p.encoded[:0], f)
		return err
	}
	if p.bare, err = frame.AppendPacked(p.bare[:0], f, p.Encoding.Coding); err != nil {
		return err
	}
	if p.Encoding.Bare {
		p.encoded = append(p.encoded[:0], p.bare...)
		return nil
	}
	p.encoded = append(frame.AppendCOBS(p.encoded[:0], p.bare), 0)
	return nil
}

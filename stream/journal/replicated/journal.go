package replicated

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"regexp"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/replicated/patience"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// Options say which log a record is kept in.
type Options struct {
	// Name tells the records of one cluster apart: letters, digits, - and _.
	Name string
	// Replicas is on how many servers each message is: 3, or 1 for a single server.
	Replicas int
	// Domain is the JetStream domain of the servers on which the record is written, where
	// those are others, to which these have a link that may be cut; "" for these. The
	// Journal follows then, and writes nothing.
	Domain string
	// Follows says that the Journal only follows a log on these servers: it does not make
	// one that is not there, and writes nothing.
	Follows bool
	// Keep is for how long the log has what all have read; 0 for ever. It must be
	// longer than any machine is away.
	Keep time.Duration
	// Within is how long a call may wait for the servers, after which it is answered with
	// journal.ErrUnreached; 0 for as long as it takes.
	Within time.Duration
	// Waits is told every second, while Open takes in what is in the log, why the files of
	// this machine do not take it, "" for no reason; nil for nobody.
	Waits func(why string)
}

// LongestName is how many characters the name of a record may have.
const LongestName = 60

var nameForm = regexp.MustCompile(fmt.Sprintf(`^[A-Za-z0-9_-]{1,%d}$`, LongestName))

func (o *Options) stream() string  { return "weald-" + o.Name }
func (o *Options) subject() string { return "weald." + o.Name + ".calls" }

// A Journal is a record that is kept on several machines, as one of them sees it. It
// implements journal.Journal.
type Journal struct {
	store   *sqlite.Store
	js      jetstream.JetStream
	stream  jetstream.Stream
	options Options
	log     string // id of the stream
	writer  string // id of this Journal
	most    int    // bytes of a message

	term    atomic.Uint64 // in which this Journal writes
	current atomic.Uint64 // the newest that it knows of
	dealt   atomic.Uint64 // the last message that has been dealt with

	calls   waiting
	away    away
	unheard patience.Wait // for servers that send what is in the log
	partial sync.Mutex    // held while a call is sent that has parts

	ctx  context.Context // ends with Close, or with what ended following
	end  context.CancelCauseFunc
	done chan struct{} // closed when nothing is followed any more

	closing sync.Once
	closed  chan struct{} // closed when Close is called
	using   sync.WaitGroup
	gate    sync.RWMutex // held for reading by who enters using
}

var _ journal.Journal = (*Journal)(nil)

// Open opens the store in a folder as a copy of a record whose changes go through the log
// that a connection leads to, makes both if they are not there, and returns when the store
// has all that was in the log. The connection stays the caller's, and has to be there until
// Close.
//
// Its errors are those of sqlite.Open, and journal.ErrForeign where folder and log do not
// belong together.
func Open(ctx context.Context, dir string, files sqlite.Options, conn *nats.Conn, o Options) (*Journal, error) {
	if !nameForm.MatchString(o.Name) {
		return nil, fmt.Errorf("a record named %q: give letters, digits, - and _", o.Name)
	}
	store, err := sqlite.Open(ctx, dir, files)
	if err != nil {
		return nil, err
	}
	j, err := join(ctx, store, conn, o)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("record %s: %w", o.Name, err), store.Close())
	}
	return j, nil
}

func join(ctx context.Context, store *sqlite.Store, conn *nats.Conn, o Options) (*Journal, error) {
	js, err := jetstream.New(conn)
	if err != nil {
		return nil, err
	}
	head, err := store.Head(ctx)
	if err != nil {
		return nil, err
	}
	at, err := store.Followed(ctx)
	if err != nil {
		return nil, err
	}
	stream, base, err := o.open(ctx, conn, js, head)
	if err != nil {
		return nil, err
	}
	info, err := stream.Info(ctx)
	if err != nil {
		return nil, err
	}
	most := patience.Most(conn)
	if most < leastMessage {
		return nil, fmt.Errorf("the servers let a message have %d bytes, which is too few for a record: set max_payload to %d or more there", conn.MaxPayload(), patience.Payload(leastMessage))
	}
	if at, err = begin(at, base, head, info.State, o.Domain != "" || o.Follows); err != nil {
		return nil, err
	}
	j := &Journal{
		store: store, js: js, stream: stream, options: o, log: base.log, writer: nuid.Next(),
		most: most, done: make(chan struct{}), closed: make(chan struct{}),
	}
	j.ctx, j.end = context.WithCancelCause(context.Background())
	j.current.Store(at.Term)
	f := &follower{Journal: j, into: store, at: at, partials: partials{}, caughtUp: make(chan struct{}), until: info.State.LastSeq}
	f.look()
	go f.run()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-f.caughtUp:
			return j, nil
		case <-j.done:
			return nil, context.Cause(j.ctx)
		case <-ctx.Done():
			j.end(context.Cause(ctx))
			<-j.done
			return nil, context.Cause(ctx)
		case <-tick.C:
			if o.Waits != nil {
				o.Waits(j.Trouble())
			}
		}
	}
}

// begin returns from where on a store follows a log, or why it cannot. One that is brought
// from elsewhere may not have all yet that the store has, and who only follows has Tend see
// whether it comes.
func begin(at sqlite.Followed, base base, head journal.Head, log jetstream.StreamState, follows bool) (sqlite.Followed, error) {
	switch {
	case at.Log == "" && head != base.head:
		return at, fmt.Errorf("the folder has a record of its own, to entry %d and input %d, and the log began with one to entry %d and input %d: "+
			"begin with an empty folder, or with a copy of the record with which the log began: %w", head.Position, head.Ord, base.head.Position, base.head.Ord, journal.ErrForeign)
	case at.Log == "":
		at = sqlite.Followed{Log: base.log, Next: 1}
	case at.Log != base.log:
		return at, fmt.Errorf("the folder is of another log, or the log was made anew: %w", journal.ErrForeign)
	}
	if at.Applied > log.LastSeq && !follows {
		return at, fmt.Errorf("the folder has come to message %d, the log ends with %d: the servers have lost what they acknowledged: %w", at.Applied, log.LastSeq, journal.ErrBroken)
	}
	if at.Next < log.FirstSeq {
		return at, fmt.Errorf("the folder has come to message %d, and the log has none before %d any more: copy the record of another machine (weald backup, weald restore): %w", at.Next, log.FirstSeq, journal.ErrBroken)
	}
	return at, nil
}

// closeWithin is how long Close waits for calls that have begun, where servers are gone.
const closeWithin = 10 * time.Second

// ErrSuperseded means that another writer has claimed its turn. Nothing of the call was
// kept, and nothing will be of those that follow.
var ErrSuperseded = errors.New("another machine writes this record now")

// Claim makes this Journal the only one that may write: the calls of all others, also of
// those that do not know yet, are refused from then on with ErrSuperseded, on every
// machine. Whoever claims has the record as the one before left it.
//
// Its error is ErrSuperseded where somebody else was quicker.
func (j *Journal) Claim(ctx context.Context) error {
	j.term.Store(j.current.Load() + 1)
	_, err := j.keep(ctx, &call{})
	return err
}

// Ended returns a context that ends when nothing is kept any more: with Close, or with
// what made following impossible, which is its cause.
func (j *Journal) Ended() context.Context { return j.ctx }

// Trouble says why the files of this machine do not take what comes through the log, such as
// a full disk, or servers that do not send it; "" where they do.
func (j *Journal) Trouble() string {
	if err := j.calls.why(); err != nil {
		return err.Error()
	}
	if lasts, why := j.unheard.Lasts(); lasts > patience.SaidAfter {
		return fmt.Sprintf("the servers of the log have sent nothing for %v: %v", lasts.Round(time.Second), why)
	}
	return ""
}

// Store returns the files of this machine, for reading and for looking after them. What
// is written to them past the log is on no other machine, and no entry may be.
func (j *Journal) Store() *sqlite.Store { return j.store }

// Log is the id of the log: one that was made anew has another.
func (j *Journal) Log() string { return j.log }

// Close implements journal.Journal. It waits for calls that have begun.
func (j *Journal) Close() error {
	first := false
	j.closing.Do(func() { first = true })
	if !first {
		<-j.done
		return nil
	}
	j.gate.Lock()
	close(j.closed)
	j.gate.Unlock()
	late := time.AfterFunc(closeWithin, func() { j.end(journal.ErrClosed) })
	j.using.Wait()
	late.Stop()
	j.end(journal.ErrClosed)
	<-j.done
	return j.store.Close()
}

// enter begins a call; leave has to be called when it ends. It ends with ctx, and with
// what ends the Journal.
func (j *Journal) enter(ctx context.Context) (_ context.Context, leave func(), err error) {
	j.gate.RLock()
	defer j.gate.RUnlock()
	select {
	case <-j.closed:
		return nil, nil, journal.ErrClosed
	default:
	}
	if err := j.ctx.Err(); err != nil {
		return nil, nil, context.Cause(j.ctx)
	}
	if err := ctx.Err(); err != nil {
		return nil, nil, context.Cause(ctx)
	}
	j.using.Add(1)
	ctx, cancel := context.WithCancelCause(ctx)
	stop := context.AfterFunc(j.ctx, func() { cancel(context.Cause(j.ctx)) })
	return ctx, func() { stop(); cancel(nil); j.using.Done() }, nil
}

// Head implements journal.Journal.
func (j *Journal) Head(ctx context.Context) (journal.Head, error) { return j.store.Head(ctx) }

// Check implements journal.Journal, for the own store.
func (j *Journal) Check(ctx context.Context) iter.Seq2[journal.Finding, error] {
	return j.store.Check(ctx)
}

// Entries implements journal.Log.
func (j *Journal) Entries(ctx context.Context, q journal.Query) iter.Seq2[record.Entry, error] {
	return j.store.Entries(ctx, q)
}

// Wait implements journal.Log.
func (j *Journal) Wait(ctx context.Context, after record.Position) error {
	return j.store.Wait(ctx, after)
}

// Inputs implements journal.Inputs.
func (j *Journal) Inputs(ctx context.Context, first, last uint64) iter.Seq2[record.Input, error] {
	return j.store.Inputs(ctx, first, last)
}

// Readings implements journal.Inputs.
func (j *Journal) Readings(ctx context.Context, source string, from, to sample.Instant) iter.Seq2[*record.Block, error] {
	return j.store.Readings(ctx, source, from, to)
}

// Span implements journal.Inputs.
func (j *Journal) Span(ctx context.Context, from, to sample.Instant) (first, last uint64, err error) {
	return j.store.Span(ctx, from, to)
}

// Snapshot implements journal.Inputs.
func (j *Journal) Snapshot(ctx context.Context, last uint64) (record.Snapshot, error) {
	return j.store.Snapshot(ctx, last)
}

// Document implements journal.Shelf.
func (j *Journal) Document(ctx context.Context, name string, version uint64) (record.Document, error) {
	return j.store.Document(ctx, name, version)
}

// Documents implements journal.Shelf.
func (j *Journal) Documents(ctx context.Context, prefix string) iter.Seq2[record.Document, error] {
	return j.store.Documents(ctx, prefix)
}

// History implements journal.History.
func (j *Journal) History(ctx context.Context, place, series string, tier record.Tier, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
	return j.store.History(ctx, place, series, tier, from, to, dst)
}

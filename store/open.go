package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime"
	"sync"
	"time"

	"brakewright/store/ledger"
)

// state is what an open store holds.
type state struct {
	path    string
	keys    *KeyFile
	now     func() time.Time
	random  io.Reader
	writer  *sql.DB // one connection
	readers *sql.DB
	opened  openedCache
	tree    treeState // the writer's alone

	beside    string
	recompute bool
	keepers   []*keeper
	refusal   error    // why nothing is signed; set before the store is given out
	notErased []string // erasures that could not be made again
	queue     chan *request
	stop      chan struct{}
	stopped   chan struct{}
	once      sync.Once
}

// lockedReader lets several goroutines draw from one source of randomness.
type lockedReader struct {
	mu sync.Mutex
	r  io.Reader
}

func (l *lockedReader) Read(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return io.ReadFull(l.r, p)
}

func open(ctx context.Context, o Options) (*Store, error) {
	if o.Now == nil || o.Random == nil {
		return nil, errors.New("open a database: a clock and a source of randomness are needed")
	}
	if err := checkFile(o.Database); err != nil {
		return nil, err
	}
	s, err := openWriter(ctx, o)
	if err != nil {
		return nil, err
	}
	if err = s.ready(ctx); err == nil {
		err = s.startKeepers(ctx, o)
	}
	if err != nil {
		s.Close()
		return nil, err
	}
	return s, nil
}

// openWriter opens and migrates a file, and starts the writer.
func openWriter(ctx context.Context, o Options) (*Store, error) {
	writer, err := openHandle(ctx, o.Database, forWriting, 1)
	if err != nil {
		return nil, err
	}
	if err := migrate(ctx, o.Database, writer); err != nil {
		writer.Close()
		return nil, err
	}
	readers, err := openHandle(ctx, o.Database, forReading, max(4, 2*runtime.GOMAXPROCS(0)))
	if err != nil {
		writer.Close()
		return nil, err
	}
	s := &Store{state{
		path: o.Database, keys: o.Keys, now: o.Now, random: &lockedReader{r: o.Random}, beside: o.Beside, recompute: o.Recompute,
		writer: writer, readers: readers,
		queue: make(chan *request, 4*maxBatch), stop: make(chan struct{}), stopped: make(chan struct{}),
	}}
	go s.writeLoop()
	return s, nil
}

// ready checks that the database is founded, that the key file is its own, and that the projections are this program's.
func (s *Store) ready(ctx context.Context) error {
	var founder string
	err := s.read(ctx, func(q querier) error {
		return missing(q.row(`SELECT founder FROM founding`).Scan(&founder))
	})
	if err != nil && !errors.Is(err, ErrNotFound) {
		return err
	}
	if errors.Is(err, ErrNotFound) {
		var n int
		if err := s.read(ctx, func(q querier) error { return q.row(`SELECT COUNT(*) FROM entries`).Scan(&n) }); err != nil {
			return err
		}
		if n == 0 {
			return fmt.Errorf("database %s holds no programme; make one with init: %w", s.path, ErrNotFound)
		}
	}
	if err := s.refreshProjections(ctx); err != nil {
		return err
	}
	if s.keys == nil {
		return nil
	}
	err = s.read(ctx, func(q querier) error {
		if err := q.row(`SELECT founder FROM founding`).Scan(&founder); err != nil {
			return err
		}
		_, err := s.dataKey(q, founder)
		if errors.Is(err, ErrWrongKeyFile) {
			return fmt.Errorf("database %s: %w", s.path, ErrWrongKeyFile)
		}
		if errors.Is(err, ErrNotFound) { // verify says more
			return nil
		}
		return err
	})
	if err != nil {
		return err
	}
	if err := s.plantTree(ctx); err != nil {
		return err
	}
	if err := s.checkKnownHead(ctx); err != nil {
		return err
	}
	if s.refusal == nil && s.recompute {
		if err := s.recomputeTree(ctx); err != nil {
			return err
		}
	}
	if s.refusal != nil {
		return nil
	}
	erasures, err := readErasures(s.beside)
	if err != nil {
		return err
	}
	failed, err := s.replayErasures(ctx, erasures)
	if err != nil {
		return err
	}
	s.notErased = append(s.notErased, failed...)
	return s.completeErasures(ctx)
}

// startKeepers begins to tell of heads, with the one that there is.
func (s *Store) startKeepers(ctx context.Context, o Options) error {
	if s.keys == nil || s.refusal != nil {
		return nil
	}
	var keepers []*keeper
	if o.Beside != "" {
		keepers = append(keepers, newKeeper(func(note string) error { return writeKnownHead(o.Beside, note) }))
	}
	for _, tell := range o.Witnesses {
		keepers = append(keepers, newKeeper(tell))
	}
	if len(keepers) == 0 {
		return nil
	}
	head, err := s.TreeHead(ctx)
	if err != nil && !errors.Is(err, ErrNotFound) {
		for _, k := range keepers {
			k.close()
		}
		return err
	}
	return s.write(ctx, func(*tx) error { // the writer reads the list
		s.keepers = keepers
		if head != nil {
			for _, k := range keepers {
				k.offer(head.Note)
			}
		}
		return nil
	})
}

// Close answers whoever waits for the writer, and closes the database.
func (s *Store) Close() error {
	var err error
	s.once.Do(func() {
		close(s.stop)
		<-s.stopped
		for _, k := range s.keepers {
			k.close()
		}
		err = errors.Join(s.readers.Close(), s.writer.Close())
	})
	return err
}

// Path is the database's file.
func (s *Store) Path() string { return s.path }

// Clock is the store's clock.
func (s *Store) Clock() time.Time { return s.now() }

func create(ctx context.Context, o Options, f Founding) (*Store, error) {
	if o.Keys == nil {
		return nil, ErrNoKeyFile
	}
	if o.Now == nil || o.Random == nil {
		return nil, errors.New("create a database: a clock and a source of randomness are needed")
	}
	if _, err := os.Lstat(o.Database); err == nil {
		return nil, fmt.Errorf("database %s: %w; choose another name", o.Database, ErrExists)
	}
	// It grows under another name, so that a half-founded database never stands where a whole one is looked for.
	temp, err := tempDatabase(o.Database, ".founding")
	if err != nil {
		return nil, fmt.Errorf("create database %s: %w", o.Database, err)
	}
	defer removeDatabase(temp)
	under := o
	under.Database = temp
	s, err := openWriter(ctx, under)
	if err != nil {
		return nil, err
	}
	err = s.found(ctx, f)
	if err = errors.Join(err, s.Close()); err != nil {
		return nil, err
	}
	if err := placeNew(temp, o.Database); err != nil {
		return nil, fmt.Errorf("create database %s: %w", o.Database, err)
	}
	return open(ctx, o)
}

// found makes the first entries: the opening, the founder's role, the programme and the parameters.
func (s *Store) found(ctx context.Context, f Founding) error {
	at := s.now().UnixMilli()
	ids := make([]string, 2) // person, key
	for i := range ids {
		id, err := ledger.NewID(s.random, at)
		if err != nil {
			return err
		}
		ids[i] = id
	}
	person, keyID := ids[0], ids[1]
	signer, public, sealed, err := ledger.NewKey(s.random, keyID, person, f.Passphrase)
	if err != nil {
		return err
	}
	phc, err := HashPassword(s.random, f.Password)
	if err != nil {
		return err
	}
	wrapped, err := s.NewDataKey(person)
	if err != nil {
		return err
	}
	date, err := ledger.Date(at, f.Zone)
	if err != nil {
		return fmt.Errorf("found a programme: %w", err)
	}
	head := ledger.Head{At: at, Zone: f.Zone, Actor: person}
	entry := func(t ledger.Type, subject string, payload any, personal map[string]string, content map[string][]byte) (*ledger.Submission, error) {
		h := head
		h.Type, h.Subject = t, subject
		sub, err := ledger.NewSubmission(s.random, h, payload, subject, personal, content)
		if err != nil {
			return nil, err
		}
		return sub, sub.Sign(signer)
	}
	opening, err := entry(ledger.Opening, person,
		ledger.OpeningPayload{Origin: f.Origin, Title: f.Title, Demo: f.Demo, Key: ledger.MarshalKey(keyID, public)},
		map[string]string{"name": f.Name, "login": f.Login},
		map[string][]byte{"password": []byte(phc), "sealed_key": sealed, "data_key": wrapped})
	if err != nil {
		return err
	}
	role, err := entry(ledger.RoleGranted, person, ledger.RolePayload{Role: "coordinator", From: date}, nil, nil)
	if err != nil {
		return err
	}
	subs := []*ledger.Submission{opening, role}
	if f.Programme != nil {
		sub, err := entry(ledger.ProgrammeAdopted, "", ledger.ProgrammePayload{}, nil, map[string][]byte{"programme": f.Programme.List})
		if err != nil {
			return err
		}
		for _, b := range f.Programme.Files {
			sub.Files[ledger.Hash(b)] = b
		}
		subs = append(subs, sub)
	}
	if f.Parameters != nil {
		sub, err := entry(ledger.ParametersAdopted, "", ledger.ParametersPayload{}, nil, map[string][]byte{"parameters": f.Parameters})
		if err != nil {
			return err
		}
		subs = append(subs, sub)
	}
	if _, err := s.AppendAll(ctx, subs...); err != nil {
		return err
	}
	return s.write(ctx, func(t *tx) error { return t.noteProjections() })
}

package capture

import (
	"bufio"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"footrule/internal/input"
	"footrule/internal/radio"
)

// Options say how a capture is read. The zero value will do.
type Options struct {
	// Time is when the last scan ended, for a text that does not say; the
	// file's modification time is a fair guess. Zero where unknown.
	Time time.Time
	// Window is the length of the scans that frames are cut into;
	// [DefaultWindow] where 0, at least [MinWindow].
	Window time.Duration
	// MaxAge is how old a listed result may be at the end of its scan to
	// belong to it; [DefaultMaxAge] where 0. Older ones are dropped and counted.
	MaxAge time.Duration

	limit int // maxReadings where 0
}

const (
	// DefaultWindow holds some ten beacons at the usual interval of 102.4 ms.
	DefaultWindow = time.Second
	// MinWindow keeps a window longer than most gaps between two frames.
	MinWindow = 10 * time.Millisecond
	// DefaultMaxAge is a little above the longest sweep of all channels that
	// was measured with a stock kernel (13.6 s). What is older comes from a
	// cache, which the kernel keeps for 30 s.
	DefaultMaxAge = 15 * time.Second
)

// Limits on what a hostile file can make the reader hold.
const (
	maxReadings = 2_000_000 // readings and scans together, some 500 MB at worst
	maxWarnings = 50
	headBytes   = 64 << 10 // what the format is told from
)

// Capture is what a file says of levels.
type Capture struct {
	Name        string   // of the file, for messages
	Format      string   // name in [Formats]
	Scans       []Scan   // in order of time, or of the file where it gives no times
	Frames      Frames   // zero but for pcap and pcapng
	Interfaces  []string // as named by the capture, each once
	ListenedMHz []int    // channels that the receiver was tuned to, ascending; of frames only
	// Timed says that the scans' times come from the capture, or from
	// Options.Time where there is but one scan. Otherwise every scan carries
	// Options.Time, and where they were taken can't be told from when.
	Timed    bool
	Warnings []string // what was left out or doubted, one line each
}

// Scan is one sweep of the receiver. Age counts back from its end, Time + Took.
type Scan struct {
	Time         time.Time // when it began, UTC; zero where unknown
	Took         time.Duration
	FreqsMHz     []int         // channels that it listened on, ascending; nil for all, or where the capture does not say
	Heard        []radio.Heard // each BSSID once
	DroppedStale int           // results older than Options.MaxAge
}

// Middle is the moment that stands for the whole scan.
func (s *Scan) Middle() time.Time { return s.Time.Add(s.Took / 2) }

// Frames counts the frames of a capture. All = Other + Foreign + Malformed +
// BadFCS + NoTime + Beacons + ProbeResponses.
type Frames struct {
	All            int
	Beacons        int // with a good frame check, with or without a level
	ProbeResponses int
	NoLevel        int // beacons and probe responses without a believable dBm level: left out
	BadFCS         int // frames of any kind that were received damaged: left out
	Malformed      int // radiotap header or management frame does not hold what it announces
	NoTime         int // packets that carry no time
	Foreign        int // packets of an interface that is not radiotap
	Other          int // data, control and other management frames
}

// Read reads a capture of any format in [Formats], also compressed with gzip.
// name is the file's name for messages. Errors are *input.Error. What can't
// be used is left out with a warning as long as anything can.
func Read(name string, r io.Reader, o Options) (*Capture, error) {
	if o.Window == 0 {
		o.Window = DefaultWindow
	}
	if o.MaxAge == 0 {
		o.MaxAge = DefaultMaxAge
	}
	if o.limit == 0 {
		o.limit = maxReadings
	}
	s := &source{name: name, o: o, c: &Capture{Name: name}}
	if o.Window < MinWindow {
		return nil, s.fail(0, fmt.Sprintf("the window of %v is too short", o.Window), fmt.Sprintf("give at least %v", MinWindow))
	}
	if o.MaxAge < 0 {
		return nil, s.fail(0, fmt.Sprintf("the age of %v is negative", o.MaxAge), "give how old a result may be")
	}
	s.br = bufio.NewReaderSize(r, headBytes)
	head, err := s.head()
	if err != nil {
		return nil, err
	}
	if len(head) > 2 && head[0] == 0x1f && head[1] == 0x8b {
		z, err := gzip.NewReader(s.br)
		if err != nil {
			return nil, s.fail(0, "the gzip header can't be read: "+err.Error(), "give the file as it was written")
		}
		s.br = bufio.NewReaderSize(z, headBytes)
		if head, err = s.head(); err != nil {
			return nil, err
		}
	}
	if len(head) == 0 {
		return nil, s.fail(0, "the file is empty", "give a capture")
	}
	if len(head) >= 2 && (head[0] == 0xff && head[1] == 0xfe || head[0] == 0xfe && head[1] == 0xff) {
		return nil, s.fail(1, "the text is in UTF-16", "save it as UTF-8")
	}
	for _, f := range Formats() {
		if !f.sniff(head) {
			continue
		}
		s.c.Format = f.Name
		if err := f.read(s); err != nil {
			return nil, err
		}
		if s.muted > 0 {
			s.c.Warnings = append(s.c.Warnings, fmt.Sprintf("%d more warnings of these kinds", s.muted))
		}
		return s.c, nil
	}
	var known []string
	for _, f := range Formats() {
		known = append(known, f.About)
	}
	return nil, s.fail(0, "this is no capture of a known format", "give "+strings.Join(known, ", or "))
}

// source is a capture while it is read.
type source struct {
	name  string
	br    *bufio.Reader
	o     Options
	c     *Capture
	taken int // readings and scans
	muted int // warnings beyond maxWarnings
}

func (s *source) head() ([]byte, error) {
	head, err := s.br.Peek(headBytes)
	if err != nil && len(head) == 0 && !errors.Is(err, io.EOF) {
		return nil, s.fail(0, "the file can't be read: "+err.Error(), "")
	}
	return head, nil
}

func (s *source) fail(line int, what, want string) error {
	return &input.Error{File: s.name, Line: line, What: what, Want: want}
}

func (s *source) warn(format string, args ...any) {
	if len(s.c.Warnings) >= maxWarnings {
		s.muted++
		return
	}
	s.c.Warnings = append(s.c.Warnings, fmt.Sprintf(format, args...))
}

// take counts one more reading or scan against the limit.
func (s *source) take() error {
	s.taken++
	if s.taken > s.o.limit {
		return s.fail(0, fmt.Sprintf("it holds more than %d readings", s.o.limit), "cut it into parts, or take a longer window")
	}
	return nil
}

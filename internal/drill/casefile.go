package drill

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"strings"

	"footrule/internal/input"

	"github.com/paulmach/orb"
	"github.com/pelletier/go-toml/v2"
)

// Format is the tag that a case file of this version carries.
const Format = "footrule-drill/1"

// maxCaseBytes is the largest case file that is read.
const maxCaseBytes = 1 << 20

// Limits of what stands in a case file.
const (
	maxTitle = 60   // characters
	maxStory = 1000 // characters
)

// caseFile is a case file.
type caseFile struct {
	Format string      `toml:"format"`
	Title  string      `toml:"title,omitempty"`
	Story  string      `toml:"story,omitempty,multiline"`
	Level  string      `toml:"level"`
	Seed   uint64      `toml:"seed"`
	Floors int         `toml:"floors,omitempty"`
	Faults []faultFile `toml:"fault,omitempty"`
}

type faultFile struct {
	Kind   string   `toml:"kind"`
	APs    []string `toml:"ap,omitempty"`
	Points []string `toml:"point,omitempty"`
	Size   float64  `toml:"size,omitempty"`
	After  int      `toml:"after,omitempty"`
}

// ReadCase reads a case file; name is what errors call it. What the file leaves
// open is drawn by [Make].
func ReadCase(name string, r io.Reader) (Spec, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxCaseBytes+1))
	if err != nil {
		return Spec{}, fmt.Errorf("%s: %w", name, err)
	}
	if len(data) > maxCaseBytes {
		return Spec{}, &input.Error{File: name, What: "the file is larger than 1 MiB", Want: "give a case file"}
	}
	var f caseFile
	if err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(&f); err != nil {
		return Spec{}, slip(name, err)
	}
	bad := func(what, want string) (Spec, error) {
		return Spec{}, &input.Error{File: name, What: what, Want: want}
	}
	switch {
	case f.Format != Format:
		return bad(fmt.Sprintf("format is %q", f.Format), fmt.Sprintf("begin with format = %q", Format))
	case manners[Level(f.Level)].bands == nil:
		return bad(fmt.Sprintf("level is %q", f.Level), "write plain, middle or hard")
	case len([]rune(f.Title)) > maxTitle || strings.ContainsAny(f.Title, "\n\r\x1b"):
		return bad("the title is too long, or has more than one line", fmt.Sprintf("write one line of at most %d characters", maxTitle))
	case f.Floors < 0 || f.Floors > MaxFloors:
		return bad(fmt.Sprintf("%d floors", f.Floors), fmt.Sprintf("write 1 to %d", MaxFloors))
	case len([]rune(f.Story)) > maxStory:
		return bad("the story is too long", fmt.Sprintf("write at most %d characters", maxStory))
	}
	s := Spec{Level: Level(f.Level), Seed: f.Seed, Floors: f.Floors, Title: f.Title, Story: strings.TrimSpace(f.Story)}
	for _, g := range f.Faults {
		s.Faults = append(s.Faults, Fault{Kind: Kind(g.Kind), APs: g.APs, Points: g.Points, Size: g.Size, After: g.After})
		if err := s.Faults[len(s.Faults)-1].check(); err != nil {
			return bad(err.Error(), "correct the [[fault]]")
		}
	}
	return s, nil
}

// slip says where a file is no case file.
func slip(name string, err error) error {
	out := &input.Error{File: name, What: "not a case file: " + strings.TrimPrefix(err.Error(), "toml: "), Want: "correct it"}
	var strict *toml.StrictMissingError
	var decode *toml.DecodeError
	switch {
	case errors.As(err, &strict) && len(strict.Errors) > 0:
		out.Line, out.Col = strict.Errors[0].Position()
		out.What = fmt.Sprintf("%q is unknown", strings.Join(strict.Errors[0].Key(), "."))
		out.Want = "a case has format, title, story, level, seed, floors and [[fault]] with kind, ap, point, size, after"
	case errors.As(err, &decode):
		out.Line, out.Col = decode.Position()
	}
	return out
}

// WriteCase writes a spec as a case file that ReadCase turns back into an equal
// one. The name of a numbered case is not kept, as it is another building.
func WriteCase(w io.Writer, s Spec) error {
	f := caseFile{Format: Format, Title: s.Title, Story: s.Story, Level: string(s.Level), Seed: s.Seed, Floors: s.Floors}
	for _, g := range s.Faults {
		f.Faults = append(f.Faults, faultFile{Kind: string(g.Kind), APs: g.APs, Points: g.Points, Size: g.Size, After: g.After})
	}
	return toml.NewEncoder(w).Encode(f)
}

// ParseFault reads a fault as trainers type it: a kind, and after a colon what is
// not to be drawn, with commas between: power:ap=AP-03,size=-9,after=20.
func ParseFault(text string) (Fault, error) {
	kind, rest, more := strings.Cut(text, ":")
	f := Fault{Kind: Kind(kind)}
	if !f.Kind.Known() || f.Kind == Nothing {
		return f, fmt.Errorf("no fault %q; faults are %s", kind, listed(Kinds()[1:]))
	}
	if more {
		for _, item := range strings.Split(rest, ",") {
			key, value, ok := strings.Cut(item, "=")
			if !ok || value == "" {
				return f, fmt.Errorf("%q in %q; write ap=, point=, size= or after= with a value", item, text)
			}
			var err error
			switch key {
			case "ap":
				f.APs = append(f.APs, value)
			case "point":
				f.Points = append(f.Points, value)
			case "size":
				f.Size, err = parseNumber(value)
			case "after":
				f.After, err = parseCount(value)
			default:
				err = fmt.Errorf("%q; write ap=, point=, size= or after=", key)
			}
			if err != nil {
				return f, fmt.Errorf("%q: %w", text, err)
			}
		}
	}
	return f, f.check()
}

// check holds a fault to what its kind has.
func (f *Fault) check() error {
	fam := f.Kind.family()
	if fam == nil || f.Kind == Nothing {
		return fmt.Errorf("no fault %q; faults are %s", f.Kind, listed(Kinds()[1:]))
	}
	switch {
	case len(f.APs) > 0 && fam.parts[theAPs] == 0:
		return fmt.Errorf("%s takes no access point", f.Kind)
	case len(f.Points) > 0 && f.Kind != Point && f.Kind != Exchange:
		return fmt.Errorf("%s takes no point", f.Kind)
	case f.Size != 0 && fam.unit == "":
		return fmt.Errorf("%s has no size", f.Kind)
	case f.After != 0 && fam.parts[theMoment] == 0:
		return fmt.Errorf("%s has no moment", f.Kind)
	case f.After < 0:
		return fmt.Errorf("after %d visits; 1 or more", f.After)
	}
	return nil
}

// ParsePlace reads X,Y in metres.
func ParsePlace(text string) (orb.Point, error) {
	x, y, ok := strings.Cut(text, ",")
	if !ok {
		return orb.Point{}, fmt.Errorf("%q is no place; write X,Y in metres on the plan", text)
	}
	a, errA := parseNumber(x)
	b, errB := parseNumber(y)
	if errA != nil || errB != nil {
		return orb.Point{}, fmt.Errorf("%q is no place; write X,Y in metres on the plan", text)
	}
	return orb.Point{a, b}, nil
}

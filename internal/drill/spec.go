package drill

import (
	"fmt"
	"hash/fnv"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"

	"github.com/paulmach/orb"
)

// Level is how hard a case is.
type Level string

// The levels.
const (
	Plain  Level = "plain"  // one band, even levels, one large fault
	Middle Level = "middle" // two bands, ordinary levels
	Hard   Level = "hard"   // two bands, uneven levels, small faults or two of them
)

// Levels lists the levels from plain to hard.
func Levels() []Level { return []Level{Plain, Middle, Hard} }

// Fault is something that is wrong. In a [Spec] everything but the kind may be
// left open and is drawn then; in a [Case] all of it is as it was planted.
type Fault struct {
	Kind   Kind       `json:"kind"`
	APs    []string   `json:"access_points,omitempty"`
	Points []string   `json:"points,omitempty"`
	At     *orb.Point `json:"at,omitempty"`     // where the access point hangs, or somebody stood, on the plan
	Size   float64    `json:"size,omitempty"`   // see Kind.Unit
	After  int        `json:"after,omitempty"`  // visits made before the change
	Visits []int      `json:"visits,omitempty"` // of stale scans: numbers of the visits, from 0
}

// Spec is all that a case is made from.
type Spec struct {
	ID     string  `json:"id"` // of a trainer's own case: empty
	Level  Level   `json:"level"`
	Seed   uint64  `json:"seed"`
	Title  string  `json:"title,omitempty"`  // drawn where empty
	Story  string  `json:"story,omitempty"`  // drawn where empty
	Floors int     `json:"floors,omitempty"` // 0: one, or as many as its faults need
	Faults []Fault `json:"faults"`           // none: a clean site
}

// MaxNumber is the highest number of a case.
const MaxNumber = 9999

// MaxFloors is how many floors a building can have.
const MaxFloors = 3

// decks are what the cases of a level go through: every case once a round, in an
// order of its own each time.
var decks = map[Level][][]Kind{
	Plain:  {{Labels}, {Moved}, {Dead}, {Few}, {Line}, {Facing}, {Nothing}},
	Middle: {{Labels}, {Moved}, {Power}, {Dies}, {Facing}, {Scale}, {Stale}, {Point}, {Exchange}, {Receiver}, {Nothing}},
	Hard:   {{Moved}, {Power}, {Labels, Dead}, {Plan}, {Moved, Dies}, {Storey}, {Stale}, {Point}, {Exchange}, {Nothing}},
}

// Lookup gives the case of a name such as middle-4. Cases go on to any number;
// the seed decides the building, so that one case can be given to each of a class
// in another building.
func Lookup(id string, seed uint64) (Spec, error) {
	name, number, _ := strings.Cut(id, "-")
	level := Level(name)
	n, err := strconv.Atoi(number)
	if err != nil || decks[level] == nil || n < 1 || n > MaxNumber || id != fmt.Sprintf("%s-%d", level, n) {
		return Spec{}, fmt.Errorf("no case %q; cases are plain, middle or hard with a number from 1 to %d: middle-4", id, MaxNumber)
	}
	deck := slices.Clone(decks[level])
	rng := source(uint64((n-1)/len(deck)), "deck "+name)
	rng.Shuffle(len(deck), func(i, j int) { deck[i], deck[j] = deck[j], deck[i] })
	s := Spec{ID: id, Level: level, Seed: seed}
	for _, k := range deck[(n-1)%len(deck)] {
		if k != Nothing {
			s.Faults = append(s.Faults, Fault{Kind: k})
		}
	}
	return s, nil
}

// source gives the random numbers of a seed for one purpose.
func source(seed uint64, purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

package drill

import "slices"

// Kind names a family of faults, in the words of package doubt where that knows
// the family.
type Kind string

// The families.
const (
	Nothing Kind = "nothing" // all is as it should be
	Labels  Kind = "labels"  // two access points hang at each other's places
	Moved   Kind = "moved"   // an access point hangs elsewhere
	Power   Kind = "power"   // the power of an access point changed during the walk
	Dead    Kind = "dead"    // an access point was never heard
	Dies    Kind = "dies"    // an access point fell silent during the walk
	Point   Kind = "point"   // a point is recorded where nobody stood
	Scale   Kind = "scale"   // points and access points are drawn to two scales
	Plan    Kind = "plan"    // the whole plan is drawn to a wrong scale
	Line    Kind = "line"    // all access points hang on one line
	Facing  Kind = "facing"  // only one facing was taken
	Few     Kind = "few"     // too few points were walked
	Stale   Kind = "stale"   // the receiver listed what it had heard elsewhere

	Storey   Kind = "storey"   // an access point hangs on another floor
	Exchange Kind = "exchange" // two points are recorded as each other
	Receiver Kind = "receiver" // one of two receivers reports more than the other
)

// part is one thing that an answer can say.
type part int

const (
	theKind part = iota
	theAPs
	thePoints
	thePlace
	theMoment
	theSize
)

// family is what is to be known of a kind.
type family struct {
	kind     Kind
	name     string // what is wrong, a few words
	parts    map[part]float64
	near     []Kind // what a good eye may take it for; the kind counts half then
	unit     string // of Size
	handed   bool   // it is a fault of a walk, so the case comes with one
	floors   int    // that the building has to have
	byLevels bool   // only levels show it, so that nothing shows without a walk
	asks     string // what to name in an answer
	seen     []string
	cure     string
	plant    func(*maker, *Fault) error
}

var families = []family{
	{kind: Nothing, name: "nothing is wrong", parts: map[part]float64{theKind: 10},
		seen: []string{"no doubt stands once the walk is judged as a whole: single levels 10 dB off are what shadowing does", "every access point is heard about its place, the spread is ordinary, and the error is near its bound"},
		cure: "sign it off, and say what the walk could not have shown"},
	{kind: Labels, name: "labels exchanged", parts: map[part]float64{theKind: 4, theAPs: 6}, near: []Kind{Moved}, byLevels: true,
		asks:  "--ap for both access points",
		seen:  []string{"each of the two is loudest about the place of the other (lens level, one access point after the other)", "the spread of the fit is too large, and shrinks when the two places are exchanged on the plan"},
		cure:  "compare the labels on the boxes with the plan, exchange them on the plan, judge the same walk again",
		plant: plantLabels},
	{kind: Moved, name: "an access point hangs elsewhere", parts: map[part]float64{theKind: 4, theAPs: 3, thePlace: 3}, near: []Kind{Labels, Storey}, unit: "m", byLevels: true,
		asks:  "--ap, and --at X,Y for where it really hangs",
		seen:  []string{"it is loudest away from its place on the plan (lens level), and its dots lie off the line over distance", "fixes about it are drawn to one side"},
		cure:  "go and look where it hangs, correct the plan, judge the same walk again",
		plant: plantMoved},
	{kind: Storey, name: "an access point hangs on another floor", parts: map[part]float64{theKind: 4, theAPs: 6}, near: []Kind{Moved}, floors: 2, byLevels: true,
		asks:  "--ap",
		seen:  []string{"it is loudest on the other floor, below or above its place (lens level; f changes the floor), and weak where it is drawn", "it is off the fit everywhere: too strong on one floor, too weak on the other, by what a ceiling takes"},
		cure:  "go and look on which floor it hangs, correct the plan, judge the same walk again",
		plant: plantStorey},
	{kind: Power, name: "power changed during the walk", parts: map[part]float64{theKind: 4, theAPs: 3, theMoment: 1.5, theSize: 1.5}, near: []Kind{Dies}, unit: "dB", byLevels: true,
		asks:  "--ap, --since POINT for the first point after it, and --size in dB",
		seen:  []string{"points visited at both ends of the walk differ for this access point and for no other", "its levels lie on one line over distance before, and on another after"},
		cure:  "look what changed it (automatic power control, a port that gives less power), pin it, walk again where it is heard",
		plant: plantPower},
	{kind: Dead, name: "an access point was never heard", parts: map[part]float64{theKind: 4, theAPs: 6}, near: []Kind{Dies}, byLevels: true,
		asks:  "--ap",
		seen:  []string{"no visit lists it, not even those beside its place (lens heard, lens level)"},
		cure:  "look at its light, its cable and its port; check its BSSIDs on the plan",
		plant: plantDead},
	{kind: Dies, name: "an access point fell silent", parts: map[part]float64{theKind: 4, theAPs: 3, theMoment: 3}, near: []Kind{Dead, Power}, byLevels: true,
		asks:  "--ap, and --since POINT for the first point after it",
		seen:  []string{"from one visit on no scan lists it, near its place either (replay, with the level lens on it)"},
		cure:  "look at its port and its power; walk again what was walked after it fell silent",
		plant: plantDies},
	{kind: Point, name: "a point is not where it is recorded", parts: map[part]float64{theKind: 4, thePoints: 4, thePlace: 2}, near: []Kind{Stale, Exchange}, unit: "m", byLevels: true,
		asks:  "--point, and --at X,Y for where somebody stood",
		seen:  []string{"at this point most access points are off the fit at once, some by plus and some by minus, and its fix lies far off"},
		cure:  "go to the point again and record it anew",
		plant: plantPoint},
	{kind: Exchange, name: "two points are recorded as each other", parts: map[part]float64{theKind: 4, thePoints: 6}, near: []Kind{Point}, byLevels: true,
		asks:  "--point for both points",
		seen:  []string{"at two points most access points are off the fit at once, and the fix of each lies about the other (lens error: the lines cross)", "what is too strong at one of them is too weak at the other"},
		cure:  "void both visits, and walk both points again; or exchange them where the surveyor remembers it",
		plant: plantExchange},
	{kind: Scale, name: "points and access points in two scales", parts: map[part]float64{theKind: 7, theSize: 3}, near: []Kind{Plan, Moved}, unit: "×", byLevels: true,
		asks:  "--size, the factor between the two",
		seen:  []string{"access points seem to hang off their places, all in one direction from the plan's origin, the farther out the more"},
		cure:  "take the access points over from the drawing that the floor came from, or multiply their places by the factor",
		plant: plantScale},
	{kind: Plan, name: "the whole plan is drawn to a wrong scale", parts: map[part]float64{theKind: 7, theSize: 3}, near: []Kind{Scale}, unit: "×",
		asks:  "--size, metres of the building for a metre of the plan",
		seen:  []string{"levels can't tell it: the level at 1 m takes it up, and every error is wrong by the same factor", "the taped wall disagrees with the plan (footrule plan FILE --tape)"},
		cure:  "set the scale of the plan by the tape, judge the same walk again",
		plant: plantPlan},
	{kind: Line, name: "all access points hang on one line", parts: map[part]float64{theKind: 10},
		seen:  []string{"on the plan: no access point stands aside of the line", "places left and right of it are heard alike, and errors across the line are several times those along it"},
		cure:  "hang further access points aside of the line (footrule place)",
		plant: plantNone},
	{kind: Facing, name: "only one facing was taken", parts: map[part]float64{theKind: 10}, unit: "dB", handed: true,
		seen:  []string{"the walk has one facing a visit, always the same (replay says how many), so that access points behind the surveyor are too weak everywhere", "fixes are off to one side on the whole (the mean vector that errors prints)"},
		cure:  "walk again with four facings",
		plant: plantFacing},
	{kind: Few, name: "too few points were walked", parts: map[part]float64{theKind: 10}, handed: true,
		seen:  []string{"most points of the plan have no visit (replay), and the intervals are so wide that they say nothing", "no part of the building that was not walked is judged at all"},
		cure:  "go on with the walk until the intervals are as narrow as the question needs",
		plant: plantFew},
	{kind: Receiver, name: "two receivers report different levels", parts: map[part]float64{theKind: 7, theSize: 3}, near: []Kind{Power}, unit: "dB", handed: true,
		asks:  "--size, how many dB the second receiver reports against the first",
		seen:  []string{"two walks by two receivers: at the points of both, all access points differ by the same (replay of both walks, side by side; footrule receivers)", "no access point changed: the levels of one walk are off the fit by plus, those of the other by minus"},
		cure:  "fit the walks of each receiver by themselves, or take the offset out; use one receiver the next time",
		plant: plantReceiver},
	{kind: Stale, name: "stale scans", parts: map[part]float64{theKind: 7, thePoints: 3}, near: []Kind{Point}, handed: true, byLevels: true,
		asks:  "--point for one of the points that have them",
		seen:  []string{"at some points in a row all levels are the same to the decibel, scan by scan: nothing was measured there (replay; export has every scan)", "just these points have large errors"},
		cure:  "renew the receiver's driver or wait for fresh results, and walk these points again",
		plant: plantStale},
}

// Kinds lists the families, nothing first.
func Kinds() []Kind {
	var out []Kind
	for i := range families {
		out = append(out, families[i].kind)
	}
	return out
}

// Name says in a few words what is wrong.
func (k Kind) Name() string { return k.family().name }

// Cure says what to do about it.
func (k Kind) Cure() string { return k.family().cure }

// Asks says what to name in an answer; empty where the kind says it all.
func (k Kind) Asks() string { return k.family().asks }

// Wanted is what an answer of a kind says beside the kind.
type Wanted struct {
	APs, Points int  // how many access points and points have it; of stale scans one of them will do
	Place       bool // where it really is
	Moment      bool // since when
	Size        bool // how much, see Kind.Unit
}

// Wants says what to name with the kind; nothing where the kind says it all.
func (k Kind) Wants() Wanted {
	p := k.family().parts
	w := Wanted{Place: p[thePlace] > 0, Moment: p[theMoment] > 0, Size: p[theSize] > 0}
	if p[theAPs] > 0 {
		w.APs = 1
	}
	if p[thePoints] > 0 {
		w.Points = 1
	}
	if k == Labels {
		w.APs = 2
	}
	if k == Exchange {
		w.Points = 2
	}
	return w
}

// Unit is that of a fault's size: dB, m, × for a factor, empty for a fault
// without a size.
func (k Kind) Unit() string { return k.family().unit }

// family finds what is known of a kind; nil for none.
func (k Kind) family() *family {
	if i := slices.IndexFunc(families, func(f family) bool { return f.kind == k }); i >= 0 {
		return &families[i]
	}
	return nil
}

// Known reports whether there is such a family.
func (k Kind) Known() bool { return k.family() != nil }

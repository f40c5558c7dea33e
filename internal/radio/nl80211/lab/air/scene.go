package air

import (
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"footrule/internal/radio"
)

// TU is the time unit of IEEE 802.11, and beacons come every 100 of them.
const (
	TU             = 1024 * time.Microsecond
	BeaconInterval = 100 * TU
)

// AP is an access point of the scene.
type AP struct {
	BSSID   radio.BSSID
	SSID    string
	FreqMHz int
	X, Y    float64 // m
	Above   float64 // height over the receiver, m
	P1      float64 // level at 1 m, dBm
	N       float64 // path-loss exponent
	Fixed   *int    // level everywhere, in place of the model

	Hidden   bool // beacons and probe responses carry no SSID
	Strict   bool // answers only the wildcard SSID and its own
	Silent   bool // answers no probe at all
	Broken   bool // its last element runs past the end of the frame
	Country  string
	Load     *Load
	TxPower  *int     // TPC Report
	Profiles []string // SSIDs of nontransmitted BSSIDs, index 1 and on
}

// Load is the BSS Load element.
type Load struct{ Stations, Utilisation int }

// Scene is the access points, the model of their levels and the receiver's
// place. The level of an access point in dBm, rounded to whole ones, is
//
//	L = P1 − 10 N log10(max(d, 1 m)) + S g
//
// with d the distance in metres, S the spread of shadowing in dB and g a
// standard normal value that belongs to seed, access point and place.
type Scene struct {
	APs    []AP // ascending BSSID
	X, Y   float64
	Shadow float64 // S, dB
	Loss   float64 // share of frames that are lost
	Floor  int     // weaker frames are not received, dBm
	Seed   uint64
}

// NewScene is an empty scene with a receiver that hears down to −95 dBm.
func NewScene() Scene { return Scene{Floor: -95} }

// Level gives the level of an access point at the receiver's place.
func (s *Scene) Level(a *AP) int {
	if a.Fixed != nil {
		return *a.Fixed
	}
	d := math.Max(1, math.Hypot(math.Hypot(a.X-s.X, a.Y-s.Y), a.Above))
	return int(math.Round(a.P1 - 10*a.N*math.Log10(d) + s.Shadow*s.normal(a.BSSID)))
}

// normal is g of the model: Box-Muller over two hashed uniforms.
func (s *Scene) normal(b radio.BSSID) float64 {
	u := s.uniform(b, 1, math.Float64bits(s.X), math.Float64bits(s.Y))
	v := s.uniform(b, 2, math.Float64bits(s.X), math.Float64bits(s.Y))
	return math.Sqrt(-2*math.Log(1-u)) * math.Cos(2*math.Pi*v)
}

// Lost tells whether frame number n of an access point is lost.
func (s *Scene) Lost(a *AP, n uint64) bool { return s.uniform(a.BSSID, 3, n) < s.Loss }

// Phase is when in the beacon interval an access point sends its beacon.
func (s *Scene) Phase(a *AP) time.Duration {
	return time.Duration(s.uniform(a.BSSID, 4) * float64(BeaconInterval))
}

// uniform hashes its arguments to [0, 1). FNV-1a alone leaves the high bits
// poorly mixed; the multiplications are those of MurmurHash3's finalizer.
func (s *Scene) uniform(b radio.BSSID, salt uint64, more ...uint64) float64 {
	h := fnv.New64a()
	var buf [8]byte
	h.Write(b[:])
	for _, v := range append([]uint64{s.Seed, salt}, more...) {
		binary.LittleEndian.PutUint64(buf[:], v)
		h.Write(buf[:])
	}
	x := h.Sum64()
	x = (x ^ x>>33) * 0xff51afd7ed558ccd
	x = (x ^ x>>33) * 0xc4ceb9fe1a85ec53
	x ^= x >> 33
	return float64(x>>11) / (1 << 53)
}

// Add puts an access point in, or in place of the one with its BSSID.
func (s *Scene) Add(a AP) {
	s.Remove(a.BSSID)
	s.APs = append(s.APs, a)
	slices.SortFunc(s.APs, func(a, b AP) int { return strings.Compare(a.BSSID.String(), b.BSSID.String()) })
}

// Remove takes an access point out and reports whether it was there.
func (s *Scene) Remove(b radio.BSSID) bool {
	n := len(s.APs)
	s.APs = slices.DeleteFunc(s.APs, func(a AP) bool { return a.BSSID == b })
	return len(s.APs) < n
}

// Do carries out one line of the control language and gives its answer:
//
//	ap BSSID freq=MHZ [at=X,Y] [above=M] [p1=DBM] [n=EXP] [level=DBM] [ssid=TEXT] [ssidhex=HEX]
//	   [country=CC] [load=STATIONS,UTILISATION] [tpc=DBM] [profiles=SSID,...]
//	   [hidden] [strict] [silent] [broken]
//	drop BSSID
//	clear
//	at X Y
//	shadow DB | loss SHARE | floor DBM | seed N
//	levels          (answers BSSID,MHZ,DBM of each access point, joined by blanks)
func (s *Scene) Do(line string) (string, error) {
	f := strings.Fields(line)
	if len(f) == 0 {
		return "", fmt.Errorf("empty line")
	}
	var numbers []float64
	for _, a := range f[1:] {
		if v, err := strconv.ParseFloat(a, 64); err == nil {
			numbers = append(numbers, v)
		}
	}
	need := func(n int) error {
		if len(numbers) != n || len(f) != n+1 {
			return fmt.Errorf("%q takes %d numbers", f[0], n)
		}
		return nil
	}
	switch f[0] {
	case "ap":
		a, err := parseAP(f[1:])
		if err != nil {
			return "", err
		}
		s.Add(a)
	case "drop":
		if len(f) != 2 {
			return "", fmt.Errorf("drop takes a BSSID")
		}
		b, err := radio.ParseBSSID(f[1])
		if err != nil {
			return "", err
		}
		if !s.Remove(b) {
			return "", fmt.Errorf("%s is not in the scene", b)
		}
	case "clear":
		s.APs = nil
	case "at":
		if err := need(2); err != nil {
			return "", err
		}
		s.X, s.Y = numbers[0], numbers[1]
	case "shadow", "loss", "floor", "seed":
		if err := need(1); err != nil {
			return "", err
		}
		switch f[0] {
		case "shadow":
			s.Shadow = numbers[0]
		case "loss":
			s.Loss = numbers[0]
		case "floor":
			s.Floor = int(numbers[0])
		case "seed":
			s.Seed = uint64(numbers[0])
		}
	case "levels":
		var out []string
		for i := range s.APs {
			a := &s.APs[i]
			out = append(out, fmt.Sprintf("%s,%d,%d", a.BSSID, a.FreqMHz, s.Level(a)))
		}
		return strings.Join(out, " "), nil
	default:
		return "", fmt.Errorf("no command %q", f[0])
	}
	return "", nil
}

func parseAP(words []string) (AP, error) {
	a := AP{P1: -40, N: 3}
	if len(words) == 0 {
		return a, fmt.Errorf("ap takes a BSSID and freq=MHZ")
	}
	var err error
	if a.BSSID, err = radio.ParseBSSID(words[0]); err != nil {
		return a, err
	}
	for _, w := range words[1:] {
		key, value, _ := strings.Cut(w, "=")
		if err := a.set(key, value); err != nil {
			return a, fmt.Errorf("%q: %w", w, err)
		}
	}
	if _, ok := radio.BandOf(a.FreqMHz); !ok {
		return a, fmt.Errorf("freq=%d is in no band", a.FreqMHz)
	}
	return a, nil
}

func (a *AP) set(key, value string) error {
	var err error
	pair := func() (x, y float64) {
		l, r, ok := strings.Cut(value, ",")
		if !ok {
			err = fmt.Errorf("takes two numbers")
			return 0, 0
		}
		if x, err = strconv.ParseFloat(l, 64); err == nil {
			y, err = strconv.ParseFloat(r, 64)
		}
		return x, y
	}
	number := func() *int {
		var v int
		v, err = strconv.Atoi(value)
		return &v
	}
	switch key {
	case "freq":
		a.FreqMHz = *number()
	case "at":
		a.X, a.Y = pair()
	case "above":
		a.Above, err = strconv.ParseFloat(value, 64)
	case "p1":
		a.P1, err = strconv.ParseFloat(value, 64)
	case "n":
		a.N, err = strconv.ParseFloat(value, 64)
	case "level":
		a.Fixed = number()
	case "ssid":
		a.SSID = value
	case "ssidhex":
		var b []byte
		b, err = hex.DecodeString(value)
		a.SSID = string(b)
	case "country":
		a.Country = value
		if len(value) != 2 {
			err = fmt.Errorf("takes two letters")
		}
	case "load":
		x, y := pair()
		a.Load = &Load{int(x), int(y)}
	case "tpc":
		a.TxPower = number()
	case "profiles":
		a.Profiles = strings.Split(value, ",")
	case "hidden":
		a.Hidden = true
	case "strict":
		a.Strict = true
	case "silent":
		a.Silent = true
	case "broken":
		a.Broken = true
	default:
		err = fmt.Errorf("no such property")
	}
	if len(a.SSID) > 32 {
		err = fmt.Errorf("an SSID has at most 32 octets")
	}
	return err
}

package propagation

import (
	"math"
	"sync"

	"footrule/internal/radio"
	"footrule/internal/site"
)

// Model names an estimator.
type Model string

// The estimators.
const (
	OLS      Model = "ols"       // least squares on the stays that heard
	Censored Model = "censored"  // maximum likelihood, silence is a level below the floor of hearing
	TwoLevel Model = "two-level" // shadowing per stay and scatter per scan, silence mostly so
	Robust   Model = "robust"    // Huber's weights, for bodies, doors and wrong points; silence mostly so
	Pooled   Model = "pooled"    // level and exponent of each radio drawn towards the band's; silence left out
)

// Models lists the estimators, from plain to full.
func Models() []Model { return []Model{OLS, Censored, TwoLevel, Robust, Pooled} }

// Options choose what is fitted and how. The zero value is the default.
type Options struct {
	Model Model // "" is TwoLevel
	PerAP bool  // each radio has an exponent of its own; under pooled it has in any case
	// MissRate is the share of scans that miss a strong radio; nil estimates it.
	// Under two-level a share above 0 leaves the share of stays that miss one
	// altogether to be estimated, and 0 takes every silence for weakness.
	MissRate *float64
	FloorDBm *float64 // floor of hearing; nil takes the lowest level reported in each band
}

// Value is an estimate with its standard error and 95 % interval. SE, Lo and
// Hi are NaN where the data do not determine them.
type Value struct {
	Est, SE, Lo, Hi float64
}

// IgnoresSilence says whether a model leaves silence out, in the fit and in a fix.
func (m Model) IgnoresSilence() bool { return m == OLS || m == Pooled }

// ownExponents is whether every radio has an exponent of its own.
func (o Options) ownExponents() bool { return o.PerAP || o.Model == Pooled }

// Group is what the radios of one band share.
type Group struct {
	Band      radio.Band
	Exponent  Value   // n; under PerAP and pooled the mean of the radios' own
	SigmaDB   Value   // total spread of a stay's mean level around the true model, see [Group.ResidualDB]
	ShadowDB  float64 // σ_s about this fit, part shared by the scans of a stay (two-level; else all of it)
	ScatterDB float64 // σ_e, scan to scan (two-level; else 0)
	FloorDBm  float64 // floor of hearing c
	MissRate  float64 // p0, share of scans that miss a strong radio, mean of the radios'
	BreakM    float64 // distance beyond which the exponent is Beyond; 0 for none, as in every estimate
	Beyond    float64
	Readings  int // scans that heard, over all stays and radios that are in the fit
	Censored  int // scans that did not
	Stays     int // stay and radio pairs that heard
	Silent    int // stay and radio pairs that did not

	Level1mSDDB float64 // spread of the levels at 1 m between radios (pooled; else 0)
	ExponentSD  float64 // and of the exponents
}

// ResidualDB is the total spread of a stay's mean level about this fit, as the
// model's own estimator has it: the root of RSS over degrees of freedom (ols), the
// scale of maximum likelihood (censored, two-level), the rescaled median (robust),
// restricted likelihood (pooled). SigmaDB is larger: a level at 1 m takes up what
// all residuals of its radio share, the more the farther shadowing reaches, and
// SigmaDB has that back. What lies on the same site shares it too, so fixes,
// bounds and doubts go by the spread about the fit. Where there is no interval,
// as in refits, SigmaDB is ResidualDB.
func (g *Group) ResidualDB() float64 { return math.Hypot(g.ShadowDB, g.scatterOfMeanDB()) }

// ShadowingDB is SigmaDB without the scatter that is left in the mean of a stay.
func (g *Group) ShadowingDB() float64 {
	e := g.scatterOfMeanDB()
	return math.Sqrt(max(g.SigmaDB.Est*g.SigmaDB.Est-e*e, 0))
}

// scatterOfMeanDB is that of the mean of as many scans as heard on average.
func (g *Group) scatterOfMeanDB() float64 {
	if g.Readings == 0 {
		return g.ScatterDB
	}
	return g.ScatterDB * math.Sqrt(float64(g.Stays)/float64(g.Readings))
}

// RadioFit is what one radio was found to be.
type RadioFit struct {
	Ref      site.RadioRef
	Name     string // site.RadioName
	AP       string // ID of its access point
	Band     radio.Band
	InFit    bool    // false for a radio never heard: the other figures are NaN then
	Level1m  Value   // A, dBm at 1 m
	Exponent Value   // its own under PerAP and pooled, else the group's
	MissRate float64 // share of scans that miss this radio where it is strong: StayMiss + (1 − StayMiss) ScanMiss
	ScanMiss float64 // p0: share of scans that miss it within a stay that hears it
	StayMiss float64 // π: share of stays that miss it altogether
	Readings int     // scans that heard it
	Points   int     // places that heard it
	Silent   int     // places that did not
}

// WallLoss is the loss of one crossing of a material in one band. The material
// "floor" stands for one storey between transmitter and receiver.
type WallLoss struct {
	Material string
	Band     radio.Band
	LossDB   Value // never below 0
	Crossed  int   // stay and radio pairs that heard through it
}

// Fit is an estimated propagation model. Level predicts from it.
type Fit struct {
	Model         Model
	PerAP         bool
	Groups        []Group
	Radios        []RadioFit // in the order of Site.Radios
	Walls         []WallLoss
	LogLikelihood float64 // natural log, of the model's own observations
	AICc          float64
	LOORMSEDB     float64 // leave-one-place-out prediction error of heard stays, dB
	Warnings      []Warning

	links   *links
	bandOf  []radio.Band
	groupOf []int       // per radio, index into Groups, −1 where not in the fit
	loss    [][]float64 // per group and material, dB a crossing
	rates   []missRate  // per radio
	pooling []pooling   // per group
	curves  *sync.Map   // curveKey to *curve
}

// Warning is something that a practitioner would doubt about a fit.
type Warning struct {
	Radio string // RadioFit.Name, empty where it concerns a band or the site
	Text  string // a sentence with its number and a way out
}

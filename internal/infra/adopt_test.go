package infra_test

import (
	"strings"
	"testing"
	"time"

	"footrule/internal/infra"
	"footrule/internal/site"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestAdopt(t *testing.T) {
	full := mill(t)
	bare := full.Clone()
	bare.Infra, bare.Answers = nil, []site.Answer{
		{Question: "ceiling-height", Text: "later", By: "X", At: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC)},
		{Question: "ceiling-void", Text: "earlier", By: "X", At: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)}}
	for i := range bare.AccessPoints {
		ap := &bare.AccessPoints[i]
		ap.Power, ap.Drop = nil, nil
		for k := range ap.Radios {
			ap.Radios[k].PHY = nil
		}
	}
	before := bare.Clone()
	got, kept, err := infra.Adopt(bare, full)
	require.NoError(t, err)
	assert.Empty(t, kept)
	assert.Equal(t, before, bare, "the plan before is left alone")
	assert.Equal(t, full.Infra, got.Infra)
	assert.Equal(t, full.AccessPoints, got.AccessPoints)
	assert.Len(t, got.Answers, len(infra.Questions))
	assert.Equal(t, "later", got.Answer("ceiling-height").Text)
	assert.Equal(t, "seen", got.Answer("ceiling-void").Text)

	less := full.Clone()
	less.AccessPoints = less.AccessPoints[:1]
	got, kept, err = infra.Adopt(full, less)
	require.NoError(t, err)
	assert.Equal(t, []string{"AP-2"}, kept)
	assert.Equal(t, full, got)

	for _, c := range []struct {
		change func(*site.Site)
		want   string
	}{
		{func(s *site.Site) { s.AccessPoints[1].ID = "AP-9" }, `input: access point "AP-9" is not on the plan; take it out, or add it to the plan first`},
		{func(s *site.Site) { s.AccessPoints[1].Radios = append(s.AccessPoints[1].Radios, site.Radio{Band: "6"}) },
			`input: access point "AP-2" has 2 radios, and on the plan 1; write the radios of the plan, in its order`},
		{func(s *site.Site) { s.AccessPoints[1].Radios[0].Band = "6" },
			`input: radio 1 of access point "AP-2" is of band "6", and on the plan "5"; write the radios of the plan, in its order`},
		{func(s *site.Site) { s.AccessPoints, s.Infra = s.AccessPoints[1:], nil; s.AccessPoints[0].Drop = nil },
			`input: the cable of access point "AP-1" ends in closet "east", which is not there; add it as a [[closet]], or correct its ID`},
	} {
		other := full.Clone()
		c.change(other)
		_, _, err := infra.Adopt(full, other)
		assert.EqualError(t, err, c.want)
	}
}

// The example that prep prints is one that is read, and leaves nothing out.
func TestKeysAreRead(t *testing.T) {
	const head = "format = \"footrule-site/1\"\nname = \"S\"\n[[floor]]\nid = \"G\"\noutline = [[0, 0], [60, 0], [60, 24], [0, 24]]\n"
	s, err := site.Read("keys.toml", strings.NewReader(head+infra.Keys))
	require.NoError(t, err)
	require.NotNil(t, infra.QuestionOf(s.Answers[0].Question))
	for _, key := range site.InfraKeys() {
		if key == "ports" {
			continue // a table
		}
		assert.Regexp(t, `(?m)^`+key+` = `, infra.Keys)
	}
	for _, c := range site.Cables {
		assert.Contains(t, infra.Keys, string(c))
	}
	for line := range strings.SplitSeq(infra.Keys, "\n") {
		assert.LessOrEqual(t, len(line), 90, line)
	}
}

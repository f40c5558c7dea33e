package validation_test

import (
	"context"
	"math"
	"testing"

	"footrule/internal/validation"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What a scene says of silence decides what models are held to: it must be so.
func TestScenesAreAsSilentAsTheySay(t *testing.T) {
	scenes, err := validation.Silent(context.Background())
	require.NoError(t, err)
	require.Greater(t, len(scenes), 15)
	for name, s := range scenes {
		switch never, missed := s[0], s[1]; s[2] {
		case 0:
			assert.Zero(t, missed, name)
		case 1:
			assert.Zero(t, never, name)
			assert.Greater(t, missed, .1, name)
		default:
			assert.Greater(t, missed, .05, name)
		}
	}
	// A hall in which 35 to 40 % of the pairs go unheard is what parts the models.
	assert.Greater(t, scenes["sparse"][0], .3)
}

// An exhaustive search of exact levels ends about where they belong, and only the
// right place is as likely as the best cell.
func TestExhaustiveSearch(t *testing.T) {
	for _, at := range []orb.Point{{20.125, 15.125}, {40.125, 25.375}} {
		mean, beaten, err := validation.Search(at, orb.Point{})
		require.NoError(t, err)
		assert.False(t, beaten)
		assert.Less(t, math.Hypot(mean[0]-at[0], mean[1]-at[1]), 2.0)
		_, beaten, err = validation.Search(at, orb.Point{.3, 0})
		require.NoError(t, err)
		assert.True(t, beaten)
	}
}

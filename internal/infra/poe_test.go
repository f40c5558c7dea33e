package infra_test

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"footrule/internal/infra"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// What IEEE 802.3 leaves to the device of each class behind a channel of 100 m
// (802.3-2022 tables 33-1, 145-1) follows from the power at the port, the least
// voltage and the resistance; the standard rounds, by 0.07 W at most.
func TestClassesFollowFromTheirLoss(t *testing.T) {
	for number, deviceW := range []float64{12.95, 3.84, 6.49, 12.95, 25.5, 40, 51, 62, 71.3} {
		c, ok := infra.ClassOf(number)
		require.True(t, ok)
		assert.Equal(t, number, c.Number)
		assert.Equal(t, deviceW, c.DeviceW)
		assert.InDelta(t, deviceW, c.Behind(infra.ChannelM), 0.07, "class %d", number)
		assert.Equal(t, c.PortW, c.Behind(0))
		assert.Equal(t, deviceW, c.May(infra.ChannelM))
		assert.Less(t, c.May(2*infra.ChannelM), deviceW)
	}
	_, ok := infra.ClassOf(9)
	assert.False(t, ok)
	_, ok = infra.ClassOf(-1)
	assert.False(t, ok)
}

// The table of classes beside the repository, row by row.
func TestClassesAgainstTheReference(t *testing.T) {
	path := filepath.Join("..", "..", "..", "shared", "refs", "csv", "poe_classes.csv")
	f, err := os.Open(path)
	if err != nil {
		t.Skipf("the reference table is not beside the repository: %v", err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 10)
	num := func(s string) float64 {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		return v
	}
	for _, r := range rows[1:] {
		c, ok := infra.ClassOf(int(num(r[0])))
		require.True(t, ok)
		assert.Equal(t, infra.Class{Number: int(num(r[0])), Standard: r[1], Type: int(num(r[2])), PortW: num(r[3]), DeviceW: num(r[4]), Volts: num(r[5]), OhmsAt: num(r[6])}, c)
		assert.InDelta(t, num(r[8]), c.Behind(100), 5e-5)
	}
}

// The power at the port for 25.5 W at a device of class 4, worked out from the
// same equation.
func TestAtPort(t *testing.T) {
	c, _ := infra.ClassOf(4)
	for _, x := range []struct{ metres, portW float64 }{{10, 25.8337}, {30, 26.558}, {50, 27.3732}, {90, 29.3859}, {100, 30}} {
		assert.InDelta(t, x.portW, c.AtPort(25.5, x.metres), 5e-5, "%v m", x.metres)
	}
	assert.Equal(t, 25.5, c.AtPort(25.5, 0))
	assert.True(t, math.IsNaN(c.AtPort(60, 100)), "no current brings 60 W through 12.5 Ω from 50 V")
	for n := range 9 { // there and back
		c, _ := infra.ClassOf(n)
		for _, m := range []float64{1, 40, 100, 130} {
			assert.InDelta(t, c.PortW, c.AtPort(c.Behind(m), m), 1e-9, "class %d, %v m", n, m)
		}
	}
}

func TestGranted(t *testing.T) {
	for _, x := range []struct{ asked, most, want int }{
		{4, 4, 4}, {4, 6, 4}, {0, 3, 0}, {3, 3, 3}, {0, 8, 0}, {2, 3, 2},
		{4, 3, 3}, {5, 4, 4}, {6, 5, 4}, {8, 7, 6}, {8, 6, 6}, {8, 4, 4}, {8, 3, 3}, {7, 6, 6},
		{3, 2, -1}, {4, 1, -1}, {0, 1, -1}, {4, -1, -1}, {9, 8, -1},
	} {
		c, ok := infra.Granted(x.asked, x.most)
		assert.Equal(t, x.want >= 0, ok, x)
		if ok {
			assert.Equal(t, x.want, c.Number, x)
		}
	}
}

func TestClassFor(t *testing.T) {
	for _, x := range []struct {
		watts float64
		want  int
	}{{3, 1}, {3.84, 1}, {6, 2}, {12.95, 3}, {13, 4}, {25.6, 5}, {71.3, 8}} {
		c, ok := infra.ClassFor(x.watts)
		require.True(t, ok)
		assert.Equal(t, x.want, c.Number, x.watts)
	}
	_, ok := infra.ClassFor(72)
	assert.False(t, ok)
}

package tui_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"footrule/internal/site"
	"footrule/tui"

	tea "github.com/charmbracelet/bubbletea"
	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// drafter drives the plan editor without a terminal.
type drafter struct {
	t    testing.TB
	m    *tui.Edit
	puts []*site.Site
	fail error
	quit bool
}

func drafting(t testing.TB, w, h int, change func(*tui.EditConfig)) *drafter {
	d := &drafter{t: t}
	cfg := tui.EditConfig{Plan: hall(), Rev: 3, Put: func(s *site.Site) (uint64, error) {
		if d.fail != nil {
			return 0, d.fail
		}
		d.puts = append(d.puts, s)
		return 3 + uint64(len(d.puts)), nil
	}}
	if change != nil {
		change(&cfg)
	}
	d.m = tui.NewEdit(cfg)
	d.send(tea.WindowSizeMsg{Width: w, Height: h})
	d.m.View()
	return d
}

func (d *drafter) send(msg tea.Msg) {
	d.t.Helper()
	_, cmd := d.m.Update(msg)
	d.quit = drain(d.t, cmd, d.m, nil) || d.quit
}

func (d *drafter) press(ks ...string) *drafter {
	d.t.Helper()
	for _, k := range ks {
		d.send(keyOf(k))
	}
	d.m.View()
	return d
}

// to goes to a place in numbers.
func (d *drafter) to(x, y float64) *drafter {
	d.t.Helper()
	return d.press("g").press(fmt.Sprintf("%g,%g", x, y)).press("enter")
}

func TestEditDrawsAPlan(t *testing.T) {
	d := drafting(t, 100, 30, nil)
	d.to(20, 12).press("a").to(22, 12).press("p")
	d.press("w").to(20, 16).press("enter").to(20, 20).press("enter", "enter")
	assert.Contains(t, d.m.View(), "Drew a wall of plasterboard")
	d.press("z").to(36, 18).press("enter").to(44, 18).press("enter").to(44, 22).press("enter", "c")
	d.press("s")
	require.Len(t, d.puts, 1)
	s := d.puts[0]
	require.Equal(t, "AP-07", s.AccessPoints[6].ID)
	assert.Equal(t, orb.Point{20, 12}, s.AccessPoints[6].At)
	assert.Equal(t, []site.Point{{ID: "P01", At: orb.Point{22, 12}}}, s.Floors[0].Points)
	assert.Equal(t, site.Wall{Material: "plasterboard", Line: orb.LineString{{20, 16}, {20, 20}}}, s.Floors[0].Walls[4])
	assert.Equal(t, site.Area{ID: "zone-1", Kind: site.Zone, Polygon: orb.Ring{{36, 18}, {44, 18}, {44, 22}}}, s.Floors[0].Areas[2])
	assert.Contains(t, d.m.View(), "Saved as revision 4")

	// Taking hold, moving, and saying more.
	d.to(20, 12).press("enter").to(21, 13).press("enter")
	assert.Contains(t, d.m.View(), "Moved AP-07")
	d.press("e").press("enter").send(tea.KeyMsg{Type: tea.KeyCtrlU})
	d.press("3.5", "enter", "enter").press("02:00:5e:00:09:09", "enter", "s")
	s = d.puts[1]
	assert.Equal(t, 3.5, s.AccessPoints[6].HeightM)
	assert.Equal(t, "02:00:5e:00:09:09", s.AccessPoints[6].Radios[0].BSSIDs[0].String())

	// What can't be is said, and nothing changes.
	d.to(40, 3).press("p")
	assert.Contains(t, d.m.View(), "void")
	d.press("x", "u", "u", "u", "u", "u", "u", "y")
	d.press("q")
	assert.False(t, d.quit)
	assert.Contains(t, d.m.View(), "not saved")
	d.fail = errors.New("no space left on device")
	d.press("s")
	assert.Contains(t, d.m.View(), "Not saved. No space left on device.")
	d.press("q", "q")
	assert.True(t, d.quit)
	assert.Contains(t, d.m.Farewell(), "the plan is at revision 5; changes after that were left behind")
}

func TestEditGoldens(t *testing.T) {
	dark := func(_ string, at orb.Point, side float64) bool {
		return at[0] > 2 && at[0] < 30 && at[1] > 2 && at[1] < 14 && int(at[0]*2)%6 == 0
	}
	for _, size := range [][2]int{{80, 24}, {120, 40}} {
		for name, to := range map[string]func(d *drafter){
			"edit":      func(d *drafter) {},
			"edit-wall": func(d *drafter) { d.to(20, 14).press("w", "enter").to(26, 18).press("enter", "right") },
			"edit-held": func(d *drafter) { d.to(13, 12).press("enter", "L") },
			"edit-type": func(d *drafter) { d.press("n", "n", "e") },
			"edit-help": func(d *drafter) { d.press("?") },
		} {
			d := drafting(t, size[0], size[1], func(c *tui.EditConfig) { c.Dark = dark })
			to(d)
			got := d.m.View()
			checkSize(t, got, size[0], size[1])
			golden(t, fmt.Sprintf("%s-%dx%d.txt", name, size[0], size[1]), got+"\n")
		}
	}
	for w := 0; w < 130; w += 7 {
		for h := 0; h < 45; h += 3 {
			d := drafting(t, w, h, func(c *tui.EditConfig) { c.ASCII = true })
			d.press("n", "w", "enter")
			if w > 0 && h > 0 {
				checkSize(t, d.m.View(), w, h)
			}
		}
	}
}

// A press and a release in one place hold on, a drag moves.
func TestEditMouse(t *testing.T) {
	d := drafting(t, 100, 30, nil)
	at := func(x, y int, a tea.MouseAction) {
		d.send(tea.MouseMsg{X: x, Y: y, Button: tea.MouseButtonLeft, Action: a})
		d.m.View()
	}
	var box [2]int
	for y := range 24 {
		for x := range 70 {
			if box == [2]int{} {
				at(x, y, tea.MouseActionPress)
				if v := d.m.View(); len(v) > 0 && strings.Contains(v, "AP-03 in hand") {
					box = [2]int{x, y}
				} else {
					d.press("esc", "esc", "esc")
				}
			}
		}
	}
	require.NotEqual(t, [2]int{}, box)
	at(box[0]+8, box[1], tea.MouseActionMotion)
	at(box[0]+8, box[1], tea.MouseActionRelease)
	assert.Contains(t, d.m.View(), "Moved AP-03")
}

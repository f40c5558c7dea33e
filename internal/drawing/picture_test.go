package drawing_test

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/jpeg"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"footrule/internal/drawing"
	"footrule/internal/site"

	"github.com/paulmach/orb"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// claim is a PNG that says it has so many pixels, and ends there.
func claim(w, h uint32) []byte {
	ihdr := append([]byte("IHDR"), binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, w), h)...)
	ihdr = append(ihdr, 8, 2, 0, 0, 0)
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\x0d"), ihdr...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(ihdr))
}

func TestPictureRefuses(t *testing.T) {
	sound, err := os.ReadFile(filepath.Join(testdata, "hall.png"))
	require.NoError(t, err)
	for _, c := range []struct {
		name string
		data []byte
		want string
	}{
		{"wide", claim(60000, 4000), "x.png: the picture has 60000 by 4000 pixels; save it with at most 12000 on a side and 20 million in all; 1000 to 3000 on a side are plenty"},
		{"vast", claim(60000, 60000), "x.png: the picture has 60000 by 60000 pixels; save it with at most 12000 on a side and 20 million in all; 1000 to 3000 on a side are plenty"},
		{"large", claim(11000, 11000), "x.png: the picture has 11000 by 11000 pixels; save it with at most 12000 on a side and 20 million in all; 1000 to 3000 on a side are plenty"},
		{"no picture", []byte("hello"), "x.png: no PNG or JPEG: image: unknown format; save the plan as PNG or JPEG"},
		{"empty", nil, "x.png: no PNG or JPEG: image: unknown format; save the plan as PNG or JPEG"},
		{"cut off", sound[:len(sound)/2], "x.png: the picture is damaged: png: invalid format: not enough pixel data; save it again"},
		{"heavy", make([]byte, 9<<20), "x.png: the picture is larger than 8 MiB; save it smaller, or with fewer colours"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var before, after runtime.MemStats
			runtime.ReadMemStats(&before)
			_, err := drawing.ReadPicture("x.png", bytes.NewReader(c.data))
			runtime.ReadMemStats(&after)
			assert.EqualError(t, err, c.want)
			assert.Less(t, after.TotalAlloc-before.TotalAlloc, uint64(48<<20), "nothing is unpacked") // io.ReadAll of 8 MiB doubles
		})
	}
}

// The hall's picture has 2 pixels a millimetre on a sheet at 1:100: its lower
// left corner is at 40, 360, and 24 m are 480 pixels.
func TestPictureFloor(t *testing.T) {
	f, err := os.Open(filepath.Join(testdata, "hall.png"))
	require.NoError(t, err)
	defer f.Close()
	p, err := drawing.ReadPicture("hall.png", f)
	require.NoError(t, err)
	assert.Equal(t, []any{"png", 594, 420, 64}, []any{p.Format, p.Width, p.Height, len(p.ID)})
	made, err := p.Floor("hall.png", drawing.Making{ID: "G"}, 24.0/480, []orb.Point{{40, 360}, {520, 360}, {520, 120}, {460, 60}, {40, 60}})
	require.NoError(t, err)
	assert.Equal(t, orb.Ring{{0, 0}, {24, 0}, {24, 12}, {21, 15}, {0, 15}}, made.Floor.Outline)
	assert.Equal(t, &site.Drawing{File: "hall.png", Kind: site.DrawingPicture, Origin: orb.Point{40, 360}, MetresPerUnit: 0.05, Picture: p.ID}, made.Floor.Drawing)
	// Without an outline the edge is it.
	made, err = p.Floor("hall.png", drawing.Making{ID: "G", Origin: &orb.Point{40, 360}}, 0.05, nil)
	require.NoError(t, err)
	assert.Equal(t, orb.Bound{Min: orb.Point{-2, -3}, Max: orb.Point{27.7, 18}}, made.Floor.BoundingBox())
	at := drawing.FromPlan(made.Floor.Drawing)(orb.Point{24, 12})
	assert.InDeltaSlice(t, []float64{520, 120}, at[:], 1e-9)

	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, image.NewGray(image.Rect(0, 0, 30, 20)), nil))
	p, err = drawing.ReadPicture("x.jpg", &b)
	require.NoError(t, err)
	assert.Equal(t, []any{"jpeg", 30, 20}, []any{p.Format, p.Width, p.Height})
}

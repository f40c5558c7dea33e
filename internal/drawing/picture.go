package drawing

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"image"
	_ "image/jpeg" // formats of pictures
	_ "image/png"
	"io"
	"path/filepath"
	"slices"
	"strings"

	"footrule/internal/input"
	"footrule/internal/site"

	"github.com/paulmach/orb"
)

// Bounds of a picture. At most some 250 MB are needed to look at one.
const (
	MaxPictureBytes = 8 << 20
	MaxPictureSide  = 12_000     // pixels
	MaxPixels       = 20_000_000 // an A3 sheet at 300 dots an inch has 17.4 million
)

// Picture is a sound PNG or JPEG.
type Picture struct {
	Bytes         []byte
	Format        string // png or jpeg
	Width, Height int    // pixels
	ID            string // SHA-256 of the bytes in hexadecimal
}

// IsPicture reports whether a file of that name is read by [ReadPicture].
func IsPicture(name string) bool {
	return slices.Contains([]string{".png", ".jpg", ".jpeg"}, strings.ToLower(filepath.Ext(name)))
}

// ReadPicture reads a PNG or JPEG. Its size is looked at before anything is
// unpacked; then all of it is, so that what is kept can be shown.
func ReadPicture(name string, r io.Reader) (*Picture, error) {
	fail := func(what, want string) (*Picture, error) {
		return nil, &input.Error{File: name, What: what, Want: want}
	}
	b, err := io.ReadAll(io.LimitReader(r, MaxPictureBytes+1))
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(b) > MaxPictureBytes {
		return fail(fmt.Sprintf("the picture is larger than %d MiB", MaxPictureBytes>>20), "save it smaller, or with fewer colours")
	}
	c, format, err := image.DecodeConfig(bytes.NewReader(b))
	if err != nil {
		return fail("no PNG or JPEG: "+clip(err.Error()), "save the plan as PNG or JPEG")
	}
	if c.Width < 2 || c.Height < 2 || c.Width > MaxPictureSide || c.Height > MaxPictureSide || c.Width*c.Height > MaxPixels {
		return fail(fmt.Sprintf("the picture has %d by %d pixels", c.Width, c.Height),
			fmt.Sprintf("save it with at most %d on a side and %d million in all; 1000 to 3000 on a side are plenty", MaxPictureSide, MaxPixels/1_000_000))
	}
	if _, _, err := image.Decode(bytes.NewReader(b)); err != nil {
		return fail("the picture is damaged: "+err.Error(), "save it again")
	}
	sum := sha256.Sum256(b)
	return &Picture{Bytes: b, Format: format, Width: c.Width, Height: c.Height, ID: hex.EncodeToString(sum[:])}, nil
}

// Floor makes a floor of a picture. The outline is listed in pixels from the
// upper left; without one it is the picture's edge. Walls are for drawing by
// hand. The place that comes to 0, 0 is the origin or the lower left of the
// outline.
func (p *Picture) Floor(file string, m Making, metresPerPixel float64, outline []orb.Point) (*Made, error) {
	if len(outline) == 0 {
		w, h := float64(p.Width), float64(p.Height)
		outline = []orb.Point{{0, h}, {w, h}, {w, 0}, {0, 0}}
	}
	d := newDrawing(site.DrawingPicture)
	d.MetresPerUnit = metresPerPixel
	m.Rules = Rules{{Layer: "picture", Role: Outline}}
	if _, err := d.add(Shape{Kind: Ring, Layer: "picture", At: outline, Under: -1}, "outline", m.Rules.Keep); err != nil {
		return nil, err
	}
	made, err := d.Floor(file, m)
	if err != nil {
		return nil, err
	}
	made.Floor.Drawing.Picture = p.ID
	return made, nil
}

package acts

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"strconv"
	"time"

	"golang.org/x/image/draw"
	"golang.org/x/image/webp"
)

// Photographs come from anybody's camera and are trusted in nothing: the kind is told by the first bytes, the size is
// asked before anything is unpacked, and what is kept is a new JPEG made from the pixels alone. So no metadata, no place,
// no second file hidden behind the first one survives.

const (
	maxPicture    = 12 << 20   // bytes as sent: a phone's largest JPEG
	maxPixels     = 26_000_000 // before scaling; unpacked, that is about 100 MB
	maxSide       = 1600       // pixels kept, along the longer side
	maxKept       = 600 << 10  // bytes kept
	pictureTime   = 20 * time.Second
	picturesATime = 2
)

// MaxPicture is the bound of a request with a photograph, in bytes.
const MaxPicture = maxPicture

// unpacking lets few pictures be unpacked at a time: each may take a hundred megabytes.
var unpacking = make(chan struct{}, picturesATime)

// keptPicture is a picture as it is kept.
type keptPicture struct {
	jpeg          []byte
	width, height int
}

// keepPicture makes a picture anew: upright, scaled down, a JPEG without metadata.
func keepPicture(ctx context.Context, b []byte) (keptPicture, error) {
	if len(b) > maxPicture {
		return keptPicture{}, wrong("photo", "photo_too_large", "most", strconv.Itoa(maxPicture>>20))
	}
	select {
	case unpacking <- struct{}{}:
		defer func() { <-unpacking }()
	case <-ctx.Done():
		return keptPicture{}, ctx.Err()
	}
	ctx, cancel := context.WithTimeout(ctx, pictureTime)
	defer cancel()
	m, err := unpack(ctx, b)
	if err != nil {
		return keptPicture{}, err
	}
	m = scaled(m)
	if kindOf(b) == "jpeg" {
		m = upright(m, orientation(b))
	}
	size := m.Bounds().Size()
	for _, quality := range []int{82, 70, 55, 40} {
		var out bytes.Buffer
		if err := jpeg.Encode(&out, m, &jpeg.Options{Quality: quality}); err != nil {
			return keptPicture{}, err
		}
		if out.Len() <= maxKept {
			return keptPicture{out.Bytes(), size.X, size.Y}, nil
		}
	}
	return keptPicture{}, wrong("photo", "photo_too_large", "most", strconv.Itoa(maxPicture>>20))
}

// kindOf tells a picture's kind by its first bytes; "" for anything else, as SVG.
func kindOf(b []byte) string {
	switch {
	case bytes.HasPrefix(b, []byte("\xff\xd8\xff")):
		return "jpeg"
	case bytes.HasPrefix(b, []byte("\x89PNG\r\n\x1a\n")):
		return "png"
	case len(b) > 12 && bytes.HasPrefix(b, []byte("RIFF")) && string(b[8:12]) == "WEBP":
		return "webp"
	}
	return ""
}

// unpack asks a picture's size, then unpacks it.
func unpack(ctx context.Context, b []byte) (image.Image, error) {
	config, decode := jpeg.DecodeConfig, jpeg.Decode
	switch kindOf(b) {
	case "jpeg":
	case "png":
		config, decode = png.DecodeConfig, png.Decode
	case "webp":
		config, decode = webp.DecodeConfig, webp.Decode
	default:
		return nil, wrong("photo", "photo_kind")
	}
	if kindOf(b) == "webp" && hiddenFrame(b) {
		return nil, wrong("photo", "photo_pixels", "most", strconv.Itoa(maxPixels/1_000_000))
	}
	c, err := config(bytes.NewReader(b))
	if err != nil {
		return nil, wrong("photo", "photo_unreadable")
	}
	if tooMany(c.Width, c.Height) {
		return nil, wrong("photo", "photo_pixels", "most", strconv.Itoa(maxPixels/1_000_000))
	}
	m, err := decode(&untilDone{ctx, bytes.NewReader(b)})
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return nil, wrong("photo", "photo_unreadable")
	case ctx.Err() != nil:
		return nil, ctx.Err()
	case err != nil:
		return nil, wrong("photo", "photo_unreadable")
	}
	return m, nil
}

func tooMany(w, h int) bool { return w < 1 || h < 1 || int64(w)*int64(h) > maxPixels }

// hiddenFrame says whether a WebP file holds a frame of more pixels than are unpacked, whatever its canvas says
// (RFC 9649: chunks VP8 and VP8L).
func hiddenFrame(b []byte) bool {
	for at := 12; at+8 <= len(b); {
		size := int64(binary.LittleEndian.Uint32(b[at+4:]))
		part := b[at+8:]
		if size < int64(len(part)) {
			part = part[:size]
		}
		switch name := string(b[at : at+4]); {
		case name == "VP8L" && len(part) >= 5:
			bits := binary.LittleEndian.Uint32(part[1:])
			if tooMany(int(bits&0x3fff)+1, int(bits>>14&0x3fff)+1) {
				return true
			}
		case name == "VP8 " && len(part) >= 10:
			if tooMany(int(binary.LittleEndian.Uint16(part[6:])&0x3fff), int(binary.LittleEndian.Uint16(part[8:])&0x3fff)) {
				return true
			}
		}
		next := int64(at) + 8 + size + size&1
		if next > int64(len(b)) {
			return false
		}
		at = int(next)
	}
	return false
}

// untilDone stops a decoder that reads for too long: a small file can ask for very many passes.
type untilDone struct {
	ctx context.Context
	r   io.Reader
}

func (u *untilDone) Read(p []byte) (int, error) {
	if err := u.ctx.Err(); err != nil {
		return 0, err
	}
	return u.r.Read(p[:min(len(p), 4096)])
}

// scaled is a picture on white, its longer side at most maxSide.
func scaled(m image.Image) image.Image {
	size := m.Bounds().Size()
	w, h := size.X, size.Y
	if long := max(w, h); long > maxSide {
		w, h = max(1, w*maxSide/long), max(1, h*maxSide/long)
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.ApproxBiLinear.Scale(out, out.Bounds(), m, m.Bounds(), draw.Over, nil)
	return out
}

// upright turns a picture as its camera said that it was held (EXIF orientation 1 to 8).
func upright(m image.Image, o int) image.Image {
	if o < 2 || o > 8 {
		return m
	}
	b := m.Bounds()
	w, h := b.Dx(), b.Dy()
	size := image.Rect(0, 0, w, h)
	if o >= 5 {
		size = image.Rect(0, 0, h, w)
	}
	out := image.NewRGBA(size)
	for y := range h {
		for x := range w {
			tx, ty := x, y
			switch o {
			case 2:
				tx = w - 1 - x
			case 3:
				tx, ty = w-1-x, h-1-y
			case 4:
				ty = h - 1 - y
			case 5:
				tx, ty = y, x
			case 6:
				tx, ty = h-1-y, x
			case 7:
				tx, ty = h-1-y, w-1-x
			case 8:
				tx, ty = y, w-1-x
			}
			out.Set(tx, ty, m.At(b.Min.X+x, b.Min.Y+y))
		}
	}
	return out
}

// orientation reads the one thing of a JPEG's metadata that the picture needs (EXIF 2.3, tag 0x0112); 1 where it does not
// say. Everything else of it is left behind.
func orientation(b []byte) int {
	for at := 2; at+4 <= len(b) && b[at] == 0xff; {
		marker, size := b[at+1], int(binary.BigEndian.Uint16(b[at+2:]))
		if marker == 0xda || size < 2 || at+2+size > len(b) {
			break
		}
		if part := b[at+4 : at+2+size]; marker == 0xe1 && bytes.HasPrefix(part, []byte("Exif\x00\x00")) {
			return exifOrientation(part[6:])
		}
		at += 2 + size
	}
	return 1
}

func exifOrientation(t []byte) int {
	if len(t) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.LittleEndian
	switch string(t[:4]) {
	case "II*\x00":
	case "MM\x00*":
		order = binary.BigEndian
	default:
		return 1
	}
	at := int64(order.Uint32(t[4:]))
	if at < 8 || at+2 > int64(len(t)) {
		return 1
	}
	n := int64(order.Uint16(t[at:]))
	for i := range n {
		e := at + 2 + 12*i
		if e+12 > int64(len(t)) {
			break
		}
		if order.Uint16(t[e:]) == 0x0112 && order.Uint16(t[e+2:]) == 3 {
			return int(order.Uint16(t[e+8:]))
		}
	}
	return 1
}

package report

import (
	"fmt"
	"io"
	"math"

	"evenpole/profiles"
)

// RecordingPicture is a recording with the plucks that were heard in it.
type RecordingPicture struct {
	File      string
	Format    string
	Seconds   float64
	Stretch   float64   // s that each value of Low and High is of
	Low, High []float64 // the outline, shares of full scale
	Plucks    []RecordedPluck
}

// RecordedPluck is one pluck: the window over which it was measured, s, its string, 0
// for none, and its level, dB re full scale. Wrong says why it does not count.
type RecordedPluck struct {
	At, From, To float64
	String       int
	Level        float64
	Wrong        string
}

// The measures of the picture of a recording, in user units.
const (
	soundLeft, soundWidth = 44.0, 940.0
	soundTop              = 64.0
	soundHalf             = 34.0 // of a line's height, full scale
	soundLine             = 112.0
	soundSeconds          = 15.0 // of a line, in recordings of mostSoundLines lines
	mostSoundLines        = 40
)

// soundSheet is what the picture adds to the style of all pictures.
const soundSheet = `<style>
.evenpole-recording .small { font-size: 9px; }
.evenpole-recording .sound { fill: #93b7cd; stroke: #3f6b85; stroke-width: 0.4; }
.evenpole-recording .window { stroke: #000; stroke-width: 1; fill: none; }
</style>
`

// soundPlot is the picture being drawn.
type soundPlot struct {
	*RecordingPicture
	svg
	line  float64 // s in a line
	lines int
	scale float64 // of the outline: its loudest reaches the line's edge
}

// DrawRecording draws a recording as SVG: its outline in lines of 15 s or more, the
// windows of its plucks, their strings and levels. The outline is enlarged to the height of a line.
func DrawRecording(w io.Writer, r RecordingPicture) error {
	p := soundPlot{RecordingPicture: &r, svg: svg{id: "recording"}, line: max(soundSeconds, math.Ceil(r.Seconds/mostSoundLines))}
	p.lines = max(1, int(math.Ceil(r.Seconds/p.line)))
	top := 1e-6
	for i := range r.Low {
		top = max(top, -r.Low[i], r.High[i])
	}
	p.scale = 1 / top
	good := 0
	for _, k := range r.Plucks {
		if k.Wrong == "" {
			good++
		}
	}
	caption := fmt.Sprintf("%s: %s, %.1f s; %s, %d of them good", r.File, r.Format, r.Seconds, profiles.Count(len(r.Plucks), "pluck"), good)
	p.body.WriteString(soundSheet)
	p.text(soundLeft, 18, "start", caption)
	p.text(soundLeft, 34, "start", fmt.Sprintf("boxes: the windows that were measured, with string and level, dB re full scale; dashed: not counted; the sound is drawn %.3g times as high", p.scale))
	for i := range p.lines {
		p.drawLine(i)
	}
	for i := range r.Plucks {
		p.pluck(&r.Plucks[i])
	}
	return p.write(w, soundLeft+soundWidth+16, soundTop+soundLine*float64(p.lines), "Plucks in "+r.File, caption)
}

// place is where a time stands: its line's middle, and how far to the right.
func (p *soundPlot) place(t float64) (x, y float64) {
	line := min(p.lines-1, int(t/p.line))
	return soundLeft + (t-float64(line)*p.line)/p.line*soundWidth, soundTop + soundLine*float64(line) + soundHalf
}

// drawLine draws a line's axis and its part of the outline.
func (p *soundPlot) drawLine(n int) {
	from := float64(n) * p.line
	_, y := p.place(from)
	p.axis(from, y)
	if len(p.Low) == 0 { // no sound: a stretch of it has no length
		return
	}
	var up, down [][2]float64
	for i := int(from / p.Stretch); i < len(p.Low) && float64(i)*p.Stretch < from+p.line; i++ {
		x := soundLeft + (float64(i)*p.Stretch-from)/p.line*soundWidth
		up = append(up, [2]float64{x, y - soundHalf*p.scale*p.High[i]})
		down = append(down, [2]float64{x, y - soundHalf*p.scale*p.Low[i]})
	}
	for i := len(down) - 1; i >= 0; i-- {
		up = append(up, down[i])
	}
	if up != nil {
		p.path("sound", up...)
	}
}

// axis draws the axis of a line that begins at a time, with seconds.
func (p *soundPlot) axis(from, y float64) {
	end := min(p.Seconds, from+p.line)
	p.svg.line(soundLeft, y, soundLeft+(end-from)/p.line*soundWidth, y, "grid")
	step := math.Ceil(p.line / 15)
	for t := math.Ceil(from/step) * step; t < end; t += step {
		x := soundLeft + (t-from)/p.line*soundWidth
		p.svg.line(x, y+soundHalf, x, y+soundHalf+4, "axis")
		p.text(x, y+soundHalf+16, "mid", fmt.Sprintf("%g s", t))
	}
}

// pluck draws a pluck: its release, its window, its string and level.
func (p *soundPlot) pluck(k *RecordedPluck) {
	x, y := p.place(k.At)
	class := "window"
	if k.Wrong != "" {
		class = "dashed"
	}
	end := min(x+(k.To-k.At)/p.line*soundWidth, soundLeft+soundWidth)
	start := x + (k.From-k.At)/p.line*soundWidth
	p.path(class, [2]float64{start, y - soundHalf}, [2]float64{end, y - soundHalf}, [2]float64{end, y + soundHalf}, [2]float64{start, y + soundHalf}, [2]float64{start, y - soundHalf})
	name := fmt.Sprint(k.String)
	if k.String == 0 {
		name = "?"
	}
	p.text(x, y-soundHalf-16, "start", name)
	p.text(x, y-soundHalf-4, "small", figure("%.1f", k.Level))
	if k.Wrong != "" {
		p.text(x+12, y-soundHalf-16, "small", k.Wrong)
	}
}

package recording

import (
	"fmt"
	"math"
	"slices"

	"evenpole/jig"

	"gonum.org/v1/gonum/floats"
)

// What a take is flagged for, as the notes for firmware writers have it where they say
// it; the rest are our rules, with room above what the figures allow: a level is to be
// right to 0.05 dB.
const (
	fullCode     = 0.9999 // of full scale: the highest code of 16 bits, and more
	flatShare    = 0.002  // of the peak, within which a top is flat
	flatPeriods  = 0.035  // of the fundamental: a sine is that flat for 0.02
	flatTops     = 3      // as high as one another: a string's fall
	strokeBlock  = 0.04   // s
	strokeRise   = 1.4125 // 3 dB
	dipBlock     = 0.012  // s, at least
	dipReach     = 0.05   // s: the pick is on the string no longer
	dipDepth     = 3      // 9.5 dB
	stoppedShare = 0.3    // of a block's RMS in the block before it: a string falls more gently
	quietShare   = 0.3162 // -10 dB: the noise is taken off, but how much it is then varies
	otherShare   = 0.03   // of the power: 0.13 dB
)

// flag notes what is wrong with a take, whose window begins at a sample.
func (l *Listener) flag(p *Pluck, x []float64, begin int, strokes []int) {
	if l.clipped(x, p.Freq) {
		p.Flags |= jig.Clipped
	}
	block := l.samples(strokeBlock)
	loud := blocks(x, block, block)
	if other := l.otherString(p, begin); other > 0 {
		p.fault(fmt.Sprintf("string %d sounds with it", other))
	} else if len(strokes) > 0 || rises(loud) || l.dips(x, p.Freq) {
		p.Flags |= jig.DoubleStrike
	}
	if p.Flags&jig.DoubleStrike == 0 && stopped(loud, p.Quiet) {
		p.Flags |= jig.ShortWindow
	}
	if p.Quiet > quietShare*p.RMS {
		noise := "the quiet level"
		if p.Hum = l.humBefore(p); p.Hum > 0 {
			noise = fmt.Sprintf("hum of the mains (%g Hz)", p.Hum)
		}
		p.fault(fmt.Sprintf("%s is only %.1f dB below it", noise, 20*math.Log10(p.RMS/p.Quiet)))
	}
}

// clipped reports whether the sound was cut off: by the file's highest code, or by
// whatever came before it, so that tops are flat and all as high.
func (l *Listener) clipped(x []float64, freq float64) bool {
	run := 0
	peak := 0.0
	for _, v := range x {
		peak = max(peak, math.Abs(v))
		if !l.format.Float && math.Abs(v) >= min(fullCode, 1-math.Pow(2, -float64(l.format.Bits-1))) {
			run++
		} else {
			run = 0
		}
		if run == 2 {
			return true
		}
	}
	return freq > 0 && (l.flats(x, peak, 1, freq) >= flatTops || l.flats(x, peak, -1, freq) >= flatTops)
}

// flats counts the flat tops of a sign at the height of the peak, one a period.
func (l *Listener) flats(x []float64, peak, sign, freq float64) (n int) {
	period := l.rate / freq
	long, run, last := max(3, int(flatPeriods*period)), 0, -int(period)
	for i, v := range x {
		if sign*v < (1-flatShare)*peak {
			run = 0
			continue
		}
		if run++; run == long && float64(i-last) > period/2 {
			n++
			last = i
		}
	}
	return n
}

// blocks are the RMS of blocks of a window, so many samples long and apart.
func blocks(x []float64, long, apart int) []float64 {
	var out []float64
	for ; len(x) >= long; x = x[apart:] {
		rms, _ := rmsOf(x[:long])
		out = append(out, rms)
	}
	return out
}

// rises reports whether a block is louder than one of the two before by more than a
// string can be that was let go once.
func rises(b []float64) bool {
	for i := 1; i < len(b); i++ {
		if b[i] > strokeRise*min(b[i-1], b[max(0, i-2)]) && b[i] > b[0]/4 {
			return true
		}
	}
	return false
}

// dips reports whether the sound nearly ends within the window and comes back: a string that
// the pick touched and struck again, be it softly. Blocks are short, and of whole periods, so
// that they differ by no more than the sound does. What was not loud before is an attack
// that is slow.
func (l *Listener) dips(x []float64, freq float64) bool {
	if freq <= 0 {
		return false
	}
	long := int(math.Round(math.Ceil(dipBlock*freq) * l.rate / freq))
	b := blocks(x, long, long/2)
	reach := int(math.Ceil(dipReach * l.rate / float64(long/2)))
	for i := 1; i < len(b)-1; i++ {
		before, after := b[max(0, i-reach):i], b[i+1:min(len(b), i+1+reach)]
		if min(slices.Max(before), slices.Max(after)) > max(dipDepth*b[i], b[0]/4) {
			return true
		}
	}
	return false
}

// stopped reports whether the string was stopped within the window of blocks.
func stopped(b []float64, quiet float64) bool {
	for i := 1; i < len(b); i++ {
		if b[i] < stoppedShare*b[i-1] && b[i-1] > 4*quiet && b[i-1] > b[0]/10 {
			return true
		}
	}
	return false
}

// otherString is a string that sounds with the one that was plucked; 0 for none. It has
// the power of its partials that are none of the other's.
func (l *Listener) otherString(p *Pluck, begin int) int {
	if p.String == 0 || l.opt.Only > 0 {
		return 0
	}
	power := l.powerFrom(begin)
	if power == nil {
		return 0
	}
	least := (otherShare + p.Quiet*p.Quiet/p.RMS/p.RMS) * floats.Sum(power)
	if one := l.sounding(power); len(one) > 1 && !slices.Contains(one, p.String) && l.lacksOwn(power, p.Freq) {
		return one[0] // two whose periods have the tone's in common
	}
	for i, hz := range l.opt.Notes {
		if i+1 != p.String && hz > 0 && l.shareOf(power, l.wide.bin, hz, p.Freq, 2.2/wideSeconds) > least {
			return i + 1
		}
	}
	return 0
}

// sounding are the strings whose fundamental has a good share of the power, the
// strongest first.
func (l *Listener) sounding(power []float64) []int {
	const share, near = 0.04, 0.02
	var out []int
	var strength []float64
	all := floats.Sum(power)
	for i, hz := range l.opt.Notes {
		at, _ := peakNear(power, l.wide.bin, hz, near*hz)
		if hz <= 0 || at == 0 {
			continue
		}
		v := sumAbout(power, l.wide.bin, at)
		k := 0
		for k < len(out) && strength[k] >= v {
			k++
		}
		if v > share*all {
			out, strength = slices.Insert(out, k, i+1), slices.Insert(strength, k, v)
		}
	}
	return out
}

// lacksOwn reports whether a tone has next to none of the partials that no two higher
// strings make up between them.
func (l *Listener) lacksOwn(power []float64, freq float64) bool {
	const share, near = 0.01, 0.01
	sum := 0.0
	for _, n := range []float64{1, 2, 5, 7} {
		if at, _ := peakNear(power, l.wide.bin, n*freq, near*n*freq); at > 0 {
			sum += sumAbout(power, l.wide.bin, at)
		}
	}
	return sum < share*floats.Sum(power)
}

// strongest is the pitch of the strongest of the strings that sound after a release, where
// together they have no pitch; 0 for none.
func (l *Listener) strongest(at int) float64 {
	power := l.powerFrom(at + l.samples(WindowDelay.Seconds()))
	if power == nil {
		return 0
	}
	if one := l.sounding(power); len(one) > 1 {
		return l.opt.Notes[one[0]-1]
	}
	return 0
}

// sumAbout is the power of a partial at a frequency: Hz at which two are told apart.
func sumAbout(power []float64, bin, at float64) float64 {
	const half = 1.1 / wideSeconds
	return floats.Sum(power[max(0, int((at-half)/bin)):min(len(power), int((at+half)/bin)+1)])
}

// shareOf is the power at the first partials of a note, but for those that may be
// partials of a tone; 0 where its fundamental should be and is not.
func (l *Listener) shareOf(power []float64, bin, note, freq, apart float64) float64 {
	const partials, near = 4, 0.02
	sum := 0.0
	for n := 1.0; n <= partials; n++ {
		at, height := peakNear(power, bin, n*note, near*n*note)
		if at == 0 || isPartial(at, freq, apart) {
			if n == 1 && !isPartial(note, freq, apart+near*note) {
				return 0
			}
			continue
		}
		if n == 1 && height < power[max(0, int((at-3*apart)/bin))]*10 {
			return 0
		}
		sum += sumAbout(power, bin, at)
	}
	return sum
}

// isPartial reports whether a frequency may be that of a partial of a tone, as stiff as
// strings are.
func isPartial(hz, freq, apart float64) bool {
	const stiffest = 3e-4
	for k := max(1, math.Floor(0.9*hz/freq)); k <= math.Ceil(hz/freq); k++ {
		if hz > k*freq-apart && hz < k*freq*math.Sqrt(1+stiffest*k*k)+apart {
			return true
		}
	}
	return false
}

// isHum reports whether a tone is hum that was switched on, or that was there before and
// is heard after a knock: it has the pitch of the mains and does not die away, or is soon
// as loud as before.
func (l *Listener) isHum(x []float64, freq, quiet float64) bool {
	const near, lasts, left = 0.015, 0.97, 1.5
	part := len(x) / 5
	first, _ := rmsOf(x[part : 2*part]) // a knock that shook the cable is over by then
	last, _ := rmsOf(x[len(x)-part:])
	for _, mains := range []float64{50, 60, 100, 120} {
		if math.Abs(freq/mains-1) < near && (last > lasts*first || last < left*quiet) {
			return true
		}
	}
	return false
}

// isKnock reports whether a sound is over too soon to be a string's, or no louder after
// that than the quiet before it: what is heard on is hum.
func (l *Listener) isKnock(x []float64, quiet float64) bool {
	const over, part = 0.1, 0.1 // of the level; s
	n := l.samples(part)
	if len(x) < 2*n {
		return false
	}
	first, _ := rmsOf(x[:n])
	second, _ := rmsOf(x[n : 2*n])
	return second < over*first || second < leastAbove*quiet
}

// humBefore is the frequency of the mains in Hz, where most of what was there before a pluck
// is their hum; 0 where it is not.
func (l *Listener) humBefore(p *Pluck) float64 {
	at := l.samples(p.Release.Seconds() - quietClear)
	power := l.powerFrom(at - len(l.wide.window))
	if power == nil {
		return 0
	}
	all := floats.Sum(power)
	for _, mains := range []float64{50, 60} {
		sum := 0.0
		for n := 1.0; n <= 20; n++ {
			for i := int((n*mains - 4) / l.wide.bin); i <= int((n*mains+4)/l.wide.bin) && i < len(power); i++ {
				sum += power[i]
			}
		}
		if sum > all/2 {
			return mains
		}
	}
	return 0
}

package jigtest

import (
	"fmt"
	"math"
)

// measure makes the next reading of a command.
func (j *Jig) measure(c *command) Entry {
	j.seq++
	e := Entry{Jig: j.cfg.Name, Boot: j.boot, Seq: j.seq, MS: j.clock(), Command: c.id, Take: c.taken}
	if c.verb == "FIELD" {
		e.Position = c.target
		e.Field = j.cfg.Field(c.target, j.nth(Shot{String: c.target, Mode: "F"}))
		return e
	}
	e.String, e.Mode = c.target, c.verb[:1]
	shot := Shot{String: e.String, Mode: e.Mode}
	shot.Nth = j.nth(shot)
	e.RMS, e.Flags = j.cfg.Level(shot), j.cfg.Flags[shot]
	e.Peak = min(3*e.RMS, j.cfg.FullScale)
	e.Freq = frequency(c)
	e.Window = 500
	if e.Flags&ShortWindow != 0 {
		e.Window = 120
	}
	return e
}

// nth counts the shots of one kind.
func (j *Jig) nth(kind Shot) int {
	j.shots[kind]++
	return j.shots[kind]
}

// frequency is what the exciter was told, nothing for a quiet window, and for
// a pluck, in mHz, a string tuned from 329.628 Hz down in fourths, but for a major third
// between the second and the third: E4, B3, G3, D3, A2, E2, and on.
func frequency(c *command) int {
	switch c.verb {
	case "DRIVE":
		return c.freq
	case "PLUCK":
		below := 5 * (c.target - 1) // semitones
		if c.target > 2 {
			below--
		}
		return int(math.Round(329_628 * math.Exp2(-float64(below)/12)))
	}
	return 0
}

// body is the R or F line of a reading.
func (e Entry) body() string {
	if e.Position > 0 {
		return fmt.Sprintf("F,%s,%d,%d,%d,%d,%d", e.Boot, e.Seq, e.MS, e.Position, e.Take, e.Field)
	}
	return fmt.Sprintf("R,%s,%d,%d,%d,%d,%s,%d,%d,%d,%d,%X", e.Boot, e.Seq, e.MS,
		e.String, e.Take, e.Mode, e.RMS, e.Peak, e.Freq, e.Window, e.Flags)
}

// record keeps a reading, sends it, and lets happen what is to happen there.
func (j *Jig) record(e Entry) {
	j.log = append(j.log, e)
	j.memory = append(j.memory, e)
	if len(j.memory) > j.cfg.Keep {
		j.memory = j.memory[1:]
	}
	m := j.cfg.AtReading[len(j.log)]
	switch line := frame(e.body()); {
	case m.Cut:
		j.send(line[:len(line)/2])
	case m.Double:
		j.send(line + line)
	case !m.Lose:
		j.send(line)
	}
	j.befall(m)
}

// befall lets a mishap happen.
func (j *Jig) befall(m Mishap) {
	if m.Forget {
		j.memory = nil
	}
	if m.Silence > 0 {
		j.silent = j.now.Add(m.Silence)
	}
	if m.Jam {
		j.end(&refusal{jammed, "pick is jammed"})
	}
	j.hungUp = m.HangUp && !j.dark
	switch restart := m.Restart || m.Cut; {
	case restart && j.hungUp:
		j.on = false // powered by the port, and up again with it
	case restart:
		j.powerUp(j.cfg.BootTime)
	}
}

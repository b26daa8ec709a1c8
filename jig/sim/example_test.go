package sim_test

import (
	"context"
	"fmt"

	"evenpole/jig"
	"evenpole/jig/sim"
)

// A pickup for one string on a jig that is never wrong and in a hurry.
func Example() {
	term, err := sim.Terminal()
	if err != nil {
		fmt.Println(err)
		return
	}
	defer term.Close()

	lot := sim.Batch{Name: "M-03", Remanence: 0.6, Radius: 2.4, Length: 16.5}
	j := sim.New(sim.Config{Speed: 500, Scatter: &sim.Scatter{}})
	j.Mount(sim.Mounted{
		Poles:         []sim.Pole{lot.Magnet(1, "M-03/11")},
		Strings:       []sim.String{{Gauge: 0.254, Freq: 329.63}},
		StringHeights: []float64{3},
	})
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go j.Serve(ctx, term.Port)

	port, err := term.Open()
	if err != nil {
		fmt.Println(err)
		return
	}
	c, err := jig.Attach(ctx, port, term.Name, jig.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	defer c.Close()
	c.Do(ctx, jig.PluckCommand(1, 2), jig.Sink{Reading: func(r jig.Reading) error {
		fmt.Printf("string %d, take %d: %.1f mV\n", r.String, r.Take, float64(r.RMSUV)/1000)
		return nil
	}})
	fmt.Printf("true level: %.1f mV\n", j.TrueLevels()[0])
	// Output:
	// string 1, take 1: 20.5 mV
	// string 1, take 2: 20.5 mV
	// true level: 20.5 mV
}

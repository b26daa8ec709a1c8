package curve

// The reference string and gap, at which the equation's terms in steel, velocity
// and gap are 0.
const (
	RefDiameter = 0.35 // mm
	RefGap      = 3.5  // mm, pole top to axis
	refPitch    = 200  // Hz
)

// The places of the fixed parameters, which every falloff model has; one for each
// wrap follows. All are in the scale in which they are fitted; their letters are
// those of the equation, see [Curve].
const (
	Level            = iota // ln mV
	AreaExponent            // p
	VelocityExponent        // q
	Slope                   // ln s, s in 1/mm
	Bend                    // ln o, o in mm
	Steepness               // t
	Protrusion              // c, 1/mm
	EndLoss                 // e
	BendExponent            // u
	FieldExponent           // b
	WrapCommon              // ln of the factor that all wraps share
	FixedParameters         // how many there are
)

// fixedNames are what files and reports call the fixed parameters.
var fixedNames = [FixedParameters]string{
	Level:            "level",
	AreaExponent:     "area_exponent",
	VelocityExponent: "velocity_exponent",
	Slope:            "falloff_slope",
	Bend:             "falloff_bend",
	Steepness:        "steepness",
	Protrusion:       "protrusion",
	EndLoss:          "end_loss",
	BendExponent:     "bend_exponent",
	FieldExponent:    "field_exponent",
	WrapCommon:       "wrap_common",
}

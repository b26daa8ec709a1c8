package curve

// The reference string and gap, at which the equation's terms in steel, velocity
// and gap are 0. The falloff's slope is that of a string most of whose steel is wrap: so
// its prior and that of what plain strings differ by are independent.
const (
	RefDiameter = 0.35 // mm
	RefGap      = 3.5  // mm, pole top to axis
	RefWrap     = 1    // share of the area that saturates that is wrap
	RefWound    = 1.1  // ln A of a wound string in the middle of a set
	RefHeight   = 1.2  // mm, of the pole
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
	WoundSlope              // w
	Protrusion              // c, 1/mm
	EndLoss                 // e
	BendExponent            // u
	FieldExponent           // b
	HeightSlope             // z, 1/mm
	WoundArea               // r
	EndLevel                // f
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
	WoundSlope:       "wound_slope",
	Protrusion:       "protrusion",
	EndLoss:          "end_loss",
	BendExponent:     "bend_exponent",
	FieldExponent:    "field_exponent",
	HeightSlope:      "height_slope",
	WoundArea:        "wound_area",
	EndLevel:         "end_level",
	WrapCommon:       "wrap_common",
}

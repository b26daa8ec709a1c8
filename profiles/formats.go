package profiles

// What the keys of files are for, with an example of each. What they take is asked of
// the readers; a test holds both lists against each other.

const (
	saysNote  = "its pitch, such as E4 or F#3: without it the set's pull and how it swings are not known"
	saysGauge = "its diameter"
	saysCore  = "diameter of a wound string's core, end unwound; estimated from the gauge where it is left out"
	saysSet   = "a string set that 'evenpole strings' lists; or [[string]] tables"
)

var saysWrap = "what it is wound with: " + Choice(Wraps()) + ", in any of the trade's spellings, or a name of your own; needed unless core is the gauge"

// stringEntries are the keys of a string, with the examples of a plain first one.
func stringEntries() []entry {
	return []entry{
		{key: "note", says: saysNote, example: "E4"},
		{key: "gauge", says: saysGauge, example: 0.254},
		{key: "core", says: saysCore, example: 0.254, unused: true},
		{key: "wrap", says: saysWrap, example: "plain"},
	}
}

// OrderFormat is what an order's file is.
var OrderFormat = &Format{
	Name:    "order",
	samples: "samples",
	Intro: `An order is one customer's pickup: the instrument, the limits of its poles, the
strings and the wanted balance. String 1 is the highest-pitched. Heights are measured
from the bobbin's top face; what lies below it is negative.`,
	read: func(d *document) { readOrder(d, Builtin()) },
	sections: []section{
		{entries: []entry{
			{key: "id", says: "the order's name", example: "A-017"},
			{key: "customer", says: "who ordered it, for the certificate", example: "Ada of the Lighthouse", unused: true},
			{key: "product", says: "what the shop calls such a pickup, for the certificate", example: "Gale bridge", unused: true},
			{key: "serial", says: "the pickup's serial number, for the certificate", example: "G-0017", unused: true},
			{key: "operator", says: "who builds it, for the workshop sheet", example: "Bo", unused: true},
			{key: "set", says: saysSet, example: "light plain-third 10-46", inPlaceOf: "string"},
		}},
		{head: "[instrument]", entries: []entry{
			{key: "name", says: "what it is called, for the certificate", example: "six-string no. 3", unused: true},
			{key: "fretboard_radius", says: "radius of the fretboard, 0 for a flat one; string_heights of [pickup] may stand in its place", example: 241.3},
			{key: "string_spread", says: "first string to the last, centre to centre, over the pickup; string_positions of [pickup] may stand in its place, or beside it where they say the same", example: 52.0},
			{key: "scale_length", says: "nut to saddle: with it the strings' tension is known", example: 648.0, inInches: 25.5},
			{key: "pickup_from_bridge", says: "the poles to the saddle; with two coils those of the first", example: 95.0, inInches: 3.75},
		}},
		{head: "[pickup]", entries: []entry{
			{key: "batch", says: "the batch of magnets that it is built from", example: "M-03"},
			{key: "poles", says: "rod (a magnet, fixed once the coil is wound), screw or slug (plain steel over a bar magnet), or blade (one bar of steel under all strings: give pole_heights_fixed, and none of the keys for poles that are set)", example: "rod"},
			{key: "pole_height_min", says: "the lowest that a pole may stand", example: 0.0},
			{key: "pole_height_max", says: "the highest", example: 2.6, inInches: 0.1},
			{key: "pole_height_step", says: "the steps in which the shop can set a pole", example: 0.05, inInches: 0.002},
			{key: "pole_heights", says: "heights of poles in stock, in place of pole_height_step; their own limits where pole_height_min and pole_height_max are left out", example: []float64{0, 0.5, 1, 1.5, 2, 2.5}, unused: true, inPlaceOf: "pole_height_step"},
			{key: "magnet_lengths", says: "lengths that magnets in stock have, in place of pole_height_step: with former_depth they give the heights to choose from", example: []float64{11, 11.5, 12, 12.5, 13, 13.5}, unused: true, inPlaceOf: "pole_height_step"},
			{key: "pole_heights_fixed", says: "poles that stand as they are, string 1 first: the pickup is raised, lowered and tilted instead. Of a blade one height, or one a string where its top is curved", example: []float64{0.4, 0.8, 1.9, 1.4, 0.9, 0.5}, unused: true},
			{key: "pickup_raise", says: "how far either end of a pickup with fixed poles may come up, 1.5 mm where it is left out", example: 1.0, unused: true},
			{key: "pickup_lower", says: "how far it may go down, likewise", example: 1.0, unused: true},
			{key: "min_gap", says: "pole to string, never less", example: 1.2, inInches: 0.05},
			{key: "string_swing", says: "how far a string swings towards its pole: kept free beside min_gap", example: 0.5, unused: true},
			{key: "string_height_first", says: "underside of string 1 over the bobbin's top face, at rest; inner strings follow the fretboard's arc", example: 3.1},
			{key: "string_height_last", says: "the same of the last string", example: 3.5},
			{key: "string_heights", says: "undersides of all strings as measured, in place of fretboard_radius and the two keys above", example: []float64{3.1, 4.1, 4.6, 4.7, 4.3, 3.5}, unused: true, inPlaceOf: "string_height_first,string_height_last,fretboard_radius"},
			{key: "string_positions", says: "where the strings lie across the pickup, from any mark, string 1 first, in place of string_spread: for courses, or strings that are not evenly apart", example: []float64{0, 10.2, 20.6, 31.1, 41.6, 52}, unused: true, inPlaceOf: "string_spread"},
			{key: "pole_positions", says: "where the poles stand, from the same mark, that of string 1 first; else each stands under its string, or halfway between the two that share it", example: []float64{0.1, 10.4, 20.8, 31.2, 41.6, 52}, unused: true},
			{key: "pole_diameter", says: "of a pole, or the thickness of a blade; 4.8 mm, or 3.2 mm of a blade, where it is left out", example: 4.76, inInches: 0.1875, unused: true},
			{key: "poles_per_string", says: "2 where each string has two poles, as on many basses; pole_positions then lists all poles", example: 1.0, unused: true},
			{key: "strings_per_pole", says: "2 where the two strings of a course share a pole, as on a 12-string", example: 1.0, unused: true},
			{key: "former_depth", says: "bobbin's top face down to the poles' lower ends: gives the lengths of magnets", example: 11.0, unused: true},
			{key: "screw_pitch", says: "how far a screw moves in a turn: 'check' then says turns", example: 0.5, unused: true},
			{key: "setting_error", says: "standard deviation with which the shop sets a pole, 0.05 mm where it is left out", example: 0.05, unused: true},
			{key: "magnets", says: "which magnet stands under which string, string 1 first", example: []string{"M-03/11", "M-03/02", "M-03/40", "M-03/07", "M-03/19", "M-03/23"}, unused: true},
		}},
		{head: "[[pickup.coil]]", says: "the second coil of a pickup with two; [pickup] has the first", unused: true, entries: []entry{
			{key: "from_bridge", says: "its poles to the saddle; pickup_from_bridge and scale_length say the rest", example: 76.0, inInches: 3.0},
			{key: "polarity", says: "which side of its magnets is up, against the first coil's", example: "opposite"},
			{key: "winding", says: "which way it is wound and connected, against the first coil; the signals add where polarity says the same, and are subtracted otherwise; where it is left out they add", example: "opposite"},
			{key: "poles", says: "rod, screw, slug or blade", example: "screw"},
			{key: "pole_height_min", says: "the lowest that one of its poles may stand", example: 0.0},
			{key: "pole_height_max", says: "the highest", example: 2.6, inInches: 0.1},
			{key: "pole_height_step", says: "the steps in which they are set", example: 0.05, inInches: 0.002},
			{key: "pole_heights_fixed", says: "heights of poles that stand as they are, or of its blade, in place of the three keys above", example: []float64{0, 0, 0, 0, 0, 0}, unused: true, inPlaceOf: "pole_height_min,pole_height_max,pole_height_step"},
		}},
		{head: "[pair]", says: "the other pickup of the instrument: the plan says how far this one is louder, and at which height it is as wanted", unused: true, entries: []entry{
			{key: "order", says: "file of the other pickup's order, from where this file is", example: "neck.toml"},
			{key: "difference_db", says: "how much louder this pickup is wanted than the other, mean of all strings; negative: softer", example: 0.0},
			{key: "tolerance_db", says: "within plus or minus this", example: 1.5, unused: true},
		}},
		{head: "[target]", entries: []entry{
			{key: "tolerance_db", says: "every string's balance within plus or minus this of what is wanted", example: 1.0},
			{key: "offset_db", says: "wanted balance, string 1 first; their mean is taken off", example: []float64{0, 0, 0.5, 0, 0, -0.5}, unused: true},
			{key: "excite", says: "how it will be played: plucked by so much travel or by so much force; else as the jig plucks", example: "force", unused: true},
			{key: "resistance_ohm", says: "of the coil at 20 degrees Celsius, for 'check --resistance-ohm'", example: 6200.0, unused: true},
			{key: "resistance_tolerance_percent", says: "within plus or minus this of resistance_ohm", example: 5.0, unused: true},
		}},
		{head: "[[string]]", says: "one table a string, string 1 first, in place of set", unused: true, entries: stringEntries()},
		{head: "[[alternative]]", says: "strings that may be fitted later: the plan serves the worst of all sets", unused: true, entries: []entry{
			{key: "set", says: saysSet, example: "medium 11-49"},
			{key: "name", says: "a name for strings of [[alternative.string]] tables", example: "heavier", unused: true},
		}},
		{head: "[[alternative.string]]", says: "in place of its set", like: "[[string]]", unused: true, entries: stringEntries()},
		{head: "[[compare]]", says: "other heights to judge beside the plan", unused: true, entries: []entry{
			{key: "name", says: "what they are called", example: "what came with it"},
			{key: "heights", says: "of the poles, string 1 first", example: []float64{0.4, 0.8, 1.9, 1.4, 0.9, 0.5}},
		}},
	},
}

// MountFormat is what a mount's file is.
var MountFormat = &Format{
	Name:    "mount",
	samples: "samples/mounts",
	Intro: `A mount is what lies on the jig for a capture: a pickup as it was measured, and the
strings over it. One that gives batch, magnets and probe_gap alone holds loose
magnets, by position. String 1 is the highest-pitched. Heights are measured from the
bobbin's top face.`,
	read: func(d *document) { readMount(d, Builtin()) },
	sections: []section{
		{entries: []entry{
			{key: "pickup", says: "the pickup's id, which 'check --pickup' asks for", example: "A-017-a"},
			{key: "batch", says: "the batch of its magnets", example: "M-03"},
			{key: "poles", says: "rod (a magnet), screw or slug (plain steel), or blade", example: "rod"},
			{key: "poles_per_string", says: "2 where each string has two poles", example: 1.0, unused: true},
			{key: "strings_per_pole", says: "2 where two strings share a pole", example: 1.0, unused: true},
			{key: "pole_heights", says: "as measured, string 1 first; one a string or one a pole, and one for a blade that is level", example: []float64{0.4, 0.8, 1.9, 1.4, 0.9, 0.5}},
			{key: "pole_heights_again", says: "a second reading of each, with the caliper set anew; the mean counts, and 'capture' says what they differ by", example: []float64{0.41, 0.79, 1.92, 1.38, 0.9, 0.51}, unused: true},
			{key: "string_heights", says: "undersides as measured, string 1 first; or the four keys below", example: []float64{3.1, 4.1, 4.6, 4.7, 4.3, 3.5}},
			{key: "string_heights_again", says: "a second reading of each, likewise", example: []float64{3.1, 4.1, 4.65, 4.7, 4.3, 3.45}, unused: true},
			{key: "string_height_first", says: "underside of string 1, where the strings follow the fretboard's arc", example: 3.1, unused: true, inPlaceOf: "string_heights"},
			{key: "string_height_last", says: "underside of the last string", example: 3.5, unused: true, inPlaceOf: "string_heights"},
			{key: "fretboard_radius", says: "radius of that arc, 0 for a flat one", example: 241.3, unused: true, inPlaceOf: "string_heights"},
			{key: "string_spread", says: "first string to the last, centre to centre; 10.4 mm between neighbours where the first is plain and this is left out", example: 52.0, unused: true, inPlaceOf: "string_heights"},
			{key: "set", says: saysSet, example: "light plain-third 10-46", inPlaceOf: "string"},
			{key: "magnets", says: "which magnet is where, string 1 or position 1 first", example: []string{"M-03/11", "M-03/02", "M-03/40", "M-03/07", "M-03/19", "M-03/23"}, unused: true},
			{key: "probe_gap", says: "field probe to pole face, for 'capture --field'", example: 0.5, unused: true},
		}},
		{head: "[[coil]]", says: "the second coil of a pickup with two", unused: true, entries: []entry{
			{key: "pole_heights", says: "of its poles, as measured, string 1 first", example: []float64{0.5, 0.9, 1.6, 1.3, 0.8, 0.5}},
			{key: "poles", says: "rod, screw, slug or blade", example: "screw", unused: true},
			{key: "scale_length", says: "nut to saddle on the jig", example: 648.0, inInches: 25.5},
			{key: "first_from_bridge", says: "the first coil's poles to the saddle", example: 95.0, inInches: 3.75},
			{key: "from_bridge", says: "this coil's poles to the saddle", example: 76.0, inInches: 3.0},
			{key: "polarity", says: "which side of its magnets is up, against the first coil's", example: "opposite"},
			{key: "winding", says: "which way it is wound and connected, against the first coil; where it is left out the signals add", example: "opposite"},
		}},
		{head: "[[string]]", says: "one table a string, string 1 first, in place of set", unused: true, entries: stringEntries()},
	},
}

// SetsFormat is what strings.toml is.
var SetsFormat = &Format{
	Name: "strings",
	Intro: `strings.toml in the shop's folder holds the shop's own string sets, which an order or
a mount names with set = "NAME". One by the name of a built-in set takes its place.`,
	read: func(d *document) { readSets(d) },
	sections: []section{
		{head: "[[set]]", says: "one table a set", entries: []entry{
			{key: "name", says: "what orders and mounts call it", example: "house 10-46"},
			{key: "source", says: "where its figures come from", example: "caliper, ends unwound"},
		}},
		{head: "[[set.string]]", says: "one table a string under its set, string 1 (the highest-pitched) first", entries: stringEntries()},
	},
}

// BatchesFormat is what batches.toml is.
var BatchesFormat = &Format{
	Name: "batches",
	Intro: `batches.toml in the shop's folder says what magnets were ordered, for 'evenpole
batch'. Everything but a batch's name may be left out.`,
	read: func(d *document) { readBatches(d) },
	sections: []section{
		{entries: []entry{
			{key: "reference", says: "the batch that others are compared with", example: "gale"},
			{key: "acceptable_percent", says: "magnets beyond the limits in a batch as ordered", example: 1.0},
			{key: "limiting_percent", says: "magnets beyond the limits in a batch that is not as ordered", example: 10.0},
			{key: "producer_risk_percent", says: "chance to reject what is as ordered", example: 5.0},
			{key: "consumer_risk_percent", says: "chance to accept what is not", example: 10.0},
		}},
		{head: "[[batch]]", says: "one table a batch", entries: []entry{
			{key: "name", says: "as in orders and mounts", example: "squall"},
			{key: "min_mt", says: "weakest field that a magnet may have at probe_gap", example: 250.0},
			{key: "max_mt", says: "strongest", example: 330.0},
			{key: "probe_gap", says: "field probe to pole face, where min_mt and max_mt hold", example: 0.5},
			{key: "rod_diameter", says: "with it and rod_length, readings at other gaps can be used", example: 4.76, inInches: 0.1875},
			{key: "rod_length", says: "see rod_diameter", example: 16.5, inInches: 0.65},
		}},
	},
}

// ShopFormat is what shop.toml is.
var ShopFormat = &Format{
	Name: "shop",
	Intro: `shop.toml in the shop's folder says who the shop is and how it wants its papers. Every
key may be left out.`,
	read: func(d *document) { readShop(d) },
	sections: []section{
		{entries: []entry{
			{key: "name", says: "the maker on certificates", example: "Lighthouse Pickups"},
			{key: "address", says: "under it", example: "Harbour 3, Skerry"},
			{key: "check_address", says: "where the QR code of a certificate leads, %s for its number; without it the code holds a text", example: "https://example.org/check/%s"},
			{key: "units", says: "of lengths; what an order's own lengths are written in goes before it, and --units before both", example: "in"},
			{key: "paper", says: "size of printed pages, where --paper is not given", example: "letter"},
		}},
	},
}

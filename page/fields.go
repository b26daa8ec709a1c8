package page

import (
	"errors"
	"fmt"
	"strings"

	"evenpole/profiles"
)

// fieldsView is a file of a format, as fields to fill in.
type fieldsView struct {
	Units  profiles.Units
	Groups []groupView
}

// groupView is a table of a file.
type groupView struct {
	Heading, Says string
	Open          bool // it is usual, or something is filled in
	Folds         bool
	Rows          []rowView
}

type rowView struct {
	Legend string // "" without
	Fields []fieldView
}

type fieldView struct {
	Path, Label, Says, Value string
	Choices                  []string
	Needed, Wide             bool
	Trouble                  string
}

// written is what there is to say of an order as it is written, in the commands' words.
type written struct {
	Trouble string `json:"trouble"`
	At      string `json:"at"` // path of the field that it is about; "" of none
	Fine    string `json:"fine"`
}

// fieldsOf shows the fields of a file with what was typed. prefix stands before their paths,
// so that they are unlike other fields of the page.
func (s *Server) fieldsOf(f *profiles.Format, in profiles.Filled, said written, prefix string) (*fieldsView, error) {
	lib, err := s.shop.Library()
	if err != nil {
		return nil, err
	}
	var sets []string
	for _, set := range lib.Sets() {
		sets = append(sets, set.Name)
	}
	v := &fieldsView{Units: in.Units}
	for _, g := range f.Form(in) {
		v.Groups = append(v.Groups, groupOf(g, f.Name, in, sets, said, prefix))
	}
	return v, nil
}

// groupOf shows a table of a file; name is what the file is.
func groupOf(g profiles.Group, name string, in profiles.Filled, sets []string, said written, prefix string) groupView {
	out := groupView{Heading: labelled(strings.ReplaceAll(strings.Trim(g.Head, "[]"), ".", " ")), Says: g.Says, Open: g.Usual, Folds: !g.Usual}
	if g.Head == "" {
		out.Heading = "The " + name
	}
	for i, row := range g.Rows {
		var shown rowView
		if g.Repeat {
			shown.Legend = fmt.Sprintf("%s %d", out.Heading, i+1)
		}
		for _, x := range row {
			f := fieldOf(x, in.Typed[x.Path], sets, prefix)
			f.Needed = x.Required && !g.Repeat
			if f.Path == said.At {
				f.Trouble = said.Trouble
			}
			out.Open = out.Open || f.Value != "" || f.Trouble != ""
			shown.Fields = append(shown.Fields, f)
		}
		out.Rows = append(out.Rows, shown)
	}
	return out
}

// fieldOf shows a field with what was typed there.
func fieldOf(x profiles.Field, typed string, sets []string, prefix string) fieldView {
	f := fieldView{Path: prefix + x.Path, Label: labelled(strings.TrimSuffix(x.Name, "_mm")), Says: x.Says, Value: typed, Choices: x.Choices, Wide: x.List}
	if x.Choices == nil && x.Takes != "text" {
		f.Says += ": " + x.Takes
	}
	if x.Name == "set" {
		f.Choices = sets
	}
	return f
}

// mistaken says what is wrong with a file, and at which field, where it was typed in fields:
// paths are those of its lines then.
func mistaken(err error, paths []string, prefix string) written {
	var mistake *profiles.Error
	if paths == nil || !errors.As(err, &mistake) {
		return written{Trouble: err.Error()}
	}
	return written{Trouble: mistake.Key + ": " + mistake.Msg, At: prefix + profiles.FieldOf(mistake, paths)}
}

package page

import (
	"bytes"
	"embed"
	"html/template"
	"io"
	"net/http"
	"net/url"
)

//go:embed look
var files embed.FS

var templates = template.Must(template.New("").ParseFS(files, "look/*.html"))

// view is what a page shows.
type view struct {
	Title    string
	Place    string // of the page in the list of pages
	Shop     string // what the shop is called
	Here     string // address, for the links to its tables
	Sections []section
	Script   string // of our own scripts, beside the one that all pages have
	Form     any    // what a template of its own shows
}

// Places are the pages that every page leads to.
func (v *view) Places() []place {
	return []place{{"/", "Shop"}, {"/capture", "Capture"}, {"/orders", "Orders"}, {"/pickups", "Pickups"}, {"/batches", "Batches"}, {"/models", "Models"}, {"/jig", "Jig"}}
}

type place struct{ Path, Name string }

// CSV is the address of a table as a file.
func (v *view) CSV(g *grid) string {
	u, err := url.Parse(v.Here)
	if err != nil {
		return ""
	}
	q := u.Query()
	q.Set("csv", g.ID)
	u.RawQuery = q.Encode()
	return u.String()
}

// section is a part of a page; what is empty is not shown.
type section struct {
	Heading  string
	State    string // a verdict in a word or two
	Facts    []fact
	Lines    []string
	Table    *grid
	Pictures []picture
	Links    []link
	Act      *act // changes something; nil without
	Ask      *act // asks for something; nil without
}

// mostBeside is how many columns a table has that stands beside another one on a wide screen.
const mostBeside = 8

// Across reports whether the section takes the whole width of a wide screen.
func (s section) Across() bool { return s.Table != nil && len(s.Table.Heads) > mostBeside }

// act is a button that changes something, with what it is given and what a person may type
// beside it.
type act struct {
	Address, Text string
	Given         []hidden
	Fields        []field
}

type (
	hidden struct{ Name, Value string }
	field  struct {
		Name, Label, Value string
		Text               bool // it is no number
	}
	fact    struct{ Term, Text string }
	picture struct{ Address, Says string }
	link    struct{ Address, Text string }
)

// to is the address of one thing: a page, and the name of the thing there.
func to(page, key, value string) string { return page + "?" + url.Values{key: {value}}.Encode() }

// show sends a page, or the table of it that is asked for.
func (s *Server) show(w http.ResponseWriter, r *http.Request, name string, v *view) error {
	if id := r.URL.Query().Get("csv"); id != "" {
		for _, part := range v.Sections {
			if part.Table != nil && part.Table.ID == id {
				return part.Table.writeCSV(w)
			}
		}
		return &missing{"this page has no table %.60q", id}
	}
	v.Here, v.Shop = r.URL.RequestURI(), s.name
	return render(w, http.StatusOK, name, v)
}

// render sends a template whole, or an error alone.
func render(w http.ResponseWriter, status int, name string, v any) error {
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, name, v); err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	_, err := w.Write(b.Bytes())
	return err
}

// sendSVG sends a picture.
func sendSVG(w http.ResponseWriter, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	return sendPaper(w, "image/svg+xml", b.Bytes())
}

// sendPDF sends a paper, which browsers show in no sandbox and so save.
func sendPDF(w http.ResponseWriter, name string, write func(io.Writer) error) error {
	var b bytes.Buffer
	if err := write(&b); err != nil {
		return err
	}
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+`.pdf"`)
	return sendPaper(w, "application/pdf", b.Bytes())
}

// sendPaper sends a picture or a paper, which has its style inside.
func sendPaper(w http.ResponseWriter, kind string, text []byte) error {
	w.Header().Set("Content-Security-Policy", paperPolicy)
	w.Header().Set("Content-Type", kind)
	_, err := w.Write(text)
	return err
}

// trouble is the page on an error.
func (s *Server) trouble(w http.ResponseWriter, status int, words string) {
	title := "That cannot be done"
	switch status {
	case http.StatusNotFound:
		title = "Not here"
	case http.StatusInternalServerError:
		title = "Something failed"
	}
	v := &view{Title: title, Shop: s.name, Sections: []section{{Lines: []string{words}}}}
	_ = render(w, status, "page.html", v) // who asked is gone, if it cannot be sent
}

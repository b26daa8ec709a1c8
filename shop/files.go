package shop

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenpole/capture/record"
	"evenpole/capture/record/disk"
	"evenpole/fit/gain"
	"evenpole/fit/repeat"
	"evenpole/profiles"
)

// The files and folders of a shop. Their names are decided here; those of the
// record, and of what a person writes and one package reads, have their constant
// in that package.
//
//	readings.csv, fields.csv     the record: what the jig read
//	sessions.csv                 which session commanded a jig from which reading on
//	readings.seals.csv           digests of rows, as fields.seals.csv; earlier ones are
//	                             in readings.seals.until-TIME.csv
//	readings.cells               what was made of the readings so far, to save time: see
//	                             cellscache.go; it may be deleted
//	readings.found               what the last fit found in them, likewise: see finding.go
//	shared/                      what other benches added to a shared record: see package share
//	readings.torn-TIME.csv       a last line that a power cut tore
//	mounts/PICKUP-DIGEST.toml    what was mounted, as it was described then
//	writer.lock, writer.open     who writes to the record, and that it is being written
//	writer.open                  there while rows are being written, and after a crash
//
//	shop.toml                    what the shop says of itself
//	strings.toml                 its own string sets
//	batches.toml                 which magnets it ordered
//	operators.csv                who mounted what, for repeat studies
//	orders/ORDER.toml            orders; they may stand anywhere
//	jig/NAME.toml                what to mount; it may stand anywhere
//
//	calibrations/JIG-DAY.toml    gains of jigs: fit and check correct readings by them
//	models/model-001.json        every model that was kept; none ever changes
//	models/current.txt           the name of the current one
//	models/history.csv           when each became current, and why
//	models/.lock                 held while one process decides which is current
//	plans/ORDER.svg              the poles of a plan
//	pictures/*.svg               what the model says of the record
//	certificates/0001.json       every certificate that was issued; none ever changes
//	certificates/0001-ORDER-PICKUP.html and .pdf, the customer's; with -workshop, the sheet
const (
	cellsFile       = "readings.cells"
	foundFile       = "readings.found"
	modelsDir       = "models"
	currentFile     = "current.txt"
	historyFile     = "history.csv"
	modelsLock      = ".lock"
	ordersDir       = "orders"
	jigDir          = "jig"
	plansDir        = "plans"
	picturesDir     = "pictures"
	certificatesDir = "certificates"
)

// The folders that package share reads and writes, too.
const (
	OrdersDir = ordersDir
	SharedDir = "shared" // what other benches added to a shared record
)

// folder is where a shop's files are; "" is none.
type folder string

func (f folder) join(names ...string) string {
	return filepath.Join(append([]string{string(f)}, names...)...)
}

func (f folder) cells() string      { return f.join(cellsFile) }
func (f folder) found() string      { return f.join(foundFile) }
func (f folder) fieldsFile() string { return f.join(record.FieldsFile) }
func (f folder) batches() string    { return f.join(profiles.BatchesFile) }
func (f folder) operators() string  { return f.join(repeat.OperatorsFile) }

func (f folder) model(name string) string { return f.join(modelsDir, name) }
func (f folder) current() string          { return f.join(modelsDir, currentFile) }
func (f folder) history() string          { return f.join(modelsDir, historyFile) }
func (f folder) modelsLock() string       { return f.join(modelsDir, modelsLock) }

// mounts are the copies of mounts that were captured.
func (f folder) mounts() []string {
	files, _ := disk.Matching(f.join(record.MountsDir), "*.toml") // a folder that cannot be read has none
	return files
}

// calibration is the stem of a calibration's name, which ends in .toml.
func (f folder) calibration(jig string, at time.Time) string {
	return f.join(gain.Dir, safe(jig)+"-"+at.Format(time.DateOnly))
}

// folderOf is the folder that a file of a record is in.
func folderOf(file string) folder { return folder(filepath.Dir(file)) }

// modelName is the name of a model's file.
func modelName(n int) string { return fmt.Sprintf("model-%03d.json", n) }

var modelPattern = regexp.MustCompile(`^(?:model-)?0*([0-9]{1,6})(?:\.json)?$`)

// modelNumber reads the number of a model as people name it: 2, 002, model-002 or
// model-002.json.
func modelNumber(text string) (n int, ok bool) {
	m := modelPattern.FindStringSubmatch(text)
	if m == nil {
		return 0, false
	}
	n, err := strconv.Atoi(m[1])
	return n, err == nil
}

// modelNumbers are the numbers of the models among the names in a folder, in order.
func modelNumbers(names []string) []int {
	var out []int
	for _, name := range names {
		if n, ok := modelNumber(name); ok && modelName(n) == name {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}

// safe makes an id safe to name a file by, on every system.
func safe(id string) string {
	return strings.Map(func(r rune) rune {
		if r < ' ' || strings.ContainsRune(`/\:*?"<>|`, r) {
			return '_'
		}
		return r
	}, id)
}

// certificate is where an issued certificate's verdict is kept.
func (f folder) certificate(number int) string {
	return f.join(certificatesDir, fmt.Sprintf("%04d.json", number))
}

// certificatePattern matches the names of these.
const certificatePattern = "[0-9][0-9][0-9][0-9]*.json"

// CertificateFiles are where the pages of a pickup's certificate go: HTML and PDF.
func (f folder) CertificateFiles(number int, order, pickup string) []string {
	return f.papers(number, order, pickup, "")
}

// SheetFiles are where the pages of the workshop's sheet go: HTML and PDF.
func (f folder) SheetFiles(number int, order, pickup string) []string {
	return f.papers(number, order, pickup, "-workshop")
}

func (f folder) papers(number int, order, pickup, kind string) []string {
	stem := f.join(certificatesDir, fmt.Sprintf("%04d-%s-%s%s", number, safe(order), safe(pickup), kind))
	return []string{stem + ".html", stem + ".pdf"}
}

// PictureFile is where a picture of the model goes: into the folder named, or the
// shop's own for "".
func (f folder) PictureFile(into, name string) string {
	if into == "" {
		into = f.join(picturesDir)
	}
	return filepath.Join(into, name)
}

// OrderFile is where an order is written.
func (f folder) OrderFile(id string) string { return f.join(ordersDir, safe(id)+".toml") }

// MountFile is where a mount is described.
func (f folder) MountFile(name string) string { return f.join(jigDir, safe(name)+".toml") }

// PlanFile is where the picture of an order's plan goes.
func (f folder) PlanFile(order string) string { return f.join(plansDir, safe(order)+".svg") }

// ReadingsFile is the record's file of readings.
func (f folder) ReadingsFile() string { return f.join(record.ReadingsFile) }

// Scale makes a shop's log of readings, of any length, by the physics of the simulated
// jig:
//
//	go run ./bench/scale -make DIR -rows 10000,100000,1000000
//
// writes DIR/10k.csv and so on. The same number of rows and seed make the same bytes.
package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

func main() {
	dir := flag.String("make", "", "folder to write logs to")
	sizes := flag.String("rows", "10000,100000,1000000", "rows of the logs")
	seed := flag.Uint64("seed", 1, "what the shop is drawn from")
	flag.Parse()
	if err := run(*dir, *sizes, *seed); err != nil {
		fmt.Fprintln(os.Stderr, "scale:", err)
		os.Exit(1)
	}
}

func run(dir, sizes string, seed uint64) error {
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	for _, text := range strings.Split(sizes, ",") {
		n, err := strconv.Atoi(text)
		if err != nil {
			return fmt.Errorf("expected numbers of rows, got %q", text)
		}
		path := filepath.Join(dir, sizeName(n)+".csv")
		if err := makeLog(path, n, seed); err != nil {
			return err
		}
		fmt.Println(path)
	}
	return nil
}

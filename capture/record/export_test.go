package record

import "iter"

// LeaveRoom has the disk take so many bytes more of a writer's readings and fail then.
func LeaveRoom(w *Writer, bytes int) {
	w.readings.file = &failing{Appender: w.readings.file, room: bytes}
}

// ReadFile reads the rows of a readings file, of which there are none where there is
// no file.
func ReadFile(path string) iter.Seq2[Reading, error] { return readFile(path, Readings) }

package record

// LeaveRoom has the disk take so many bytes more of a writer's readings and fail then.
func LeaveRoom(w *Writer, bytes int) {
	w.readings.file = &failing{Appender: w.readings.file, room: bytes}
}

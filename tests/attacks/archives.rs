//! Archives: overlapping entries, entries beyond the file, more bytes out than the limit.

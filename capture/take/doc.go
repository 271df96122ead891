// Package take records edges to a file, reads them back whatever happened to
// the file, and plays them again.
//
// A take is one recorded session: the stream of [capture.Edge]s with the
// settings in force, the devices, and notes. Times are ns on the monotonic
// clock of the machine that recorded; [Header.Wall] turns one into a date.
// Only edges of bound buttons are ever in a take, never a key by name.
//
// [Record] writes a take while it happens and never blocks who feeds it; [Ring]
// keeps the last minutes in memory until they are saved; [Reader] reads;
// [Scan] gives a summary and an index to seek by; [Repair], [Trim] and [Pack]
// write a new file; [Player] delivers edges in their own time. [Writer] and
// [Reader] are pure: they know no clock and no file.
//
// # The format, byte by byte
//
// A take is the 16 bytes of the signature and then blocks, end to end, which
// are only ever appended. Fixed-width numbers are little-endian. "uvarint" and
// "svarint" are the unsigned and the zigzag variable-length integers of
// Protocol Buffers (encoding/binary's Uvarint and Varint). "string" is a
// uvarint length in bytes and that many bytes of UTF-8. All times are ns.
//
//	signature   8F 68 6F 6C 64 67 61 70 20 74 61 6B 65 0D 0A 1A
//	            (8F "holdgap take" CR LF SUB: a transfer that clears the top
//	            bit or changes line ends shows at once)
//
// A block of edges:
//
//	0  FF E7     the mark by which a reader finds its way back. FF never occurs
//	             in UTF-8, so no text inside a block looks like a mark
//	2  kind      bit 7     1 (edges)
//	             bit 6     1 if the base time is negative
//	             bits 5–4  unit of the deltas: 0 is 1 ns, 1 is 1000 ns; 2 and 3
//	                       are reserved
//	             bits 3–0  number of edges less one (1 … 16 edges)
//	3  L         length of the payload in bytes
//	4  payload   uvarint  magnitude of the base time, which is the time of the
//	                      first edge in ns
//	             tag      of the first edge
//	             then for each further edge
//	             uvarint  time since the edge before, in units
//	             tag
//	4+L crc      4 bytes
//
// A tag is one byte: bit 0 is 1 for down, and bits 7–1 hold v. v < 124 is
// button v mod 31, key v div 31. v = 127 says that two bytes follow, button and
// key, each below 64. 124 … 126 are reserved. Times within a block never go
// back; where a stream does, a new block begins.
//
// Any other block (a note):
//
//	0  FF E7     the mark
//	2  kind      1 … 127
//	3  LL LL     length of the payload in bytes, 2 bytes
//	5  payload   see below; bytes after the last field are ignored
//	5+L crc      4 bytes
//
// crc is CRC-32C (Castagnoli, as in RFC 3720, appendix B.4) of everything from
// the kind byte to the end of the payload.
//
// The notes' payloads:
//
//	1 header    uvarint version; 8 bytes id, random; svarint wall clock in ns
//	            since 1970-01-01T00:00:00Z; svarint monotonic time of that same
//	            instant; string program
//	2 settings  svarint time from which they hold; string name; string text
//	3 mark      svarint time; string text. A later mark at the same time
//	            replaces the earlier, and an empty text removes it
//	4 device    svarint time; uvarint flags (1 attached, 2 keyboard); uvarint
//	            number; string name; string source; string identity; 8 bytes
//	            IEEE 754 double, report interval in ms, 0 if unknown
//	5 loss      svarint first time; svarint last time; uvarint number of edges
//	            that were not recorded, 0 if unknown; string reason
//	6 video     svarint offset: the time on the edges' clock of the video's time
//	            0; string file name; uvarint file size in bytes; uvarint
//	            numerator and uvarint denominator of its frames per second. The
//	            last one for a file name counts
//	7 end       svarint time; uvarint number of edges in the take. Written when
//	            a recording is closed; without it the recording was cut off
//
// The first block is the header. A settings note holds for the edges that come
// after it in the file. Notes may follow the end.
//
// The meaning of a kind never changes: what has to change gets a new kind. A
// reader passes over kinds that it does not know, so that it reads a newer take
// as far as it can, and says so.
//
// # Damage
//
// A reader that meets something that is not a whole block with a true checksum
// looks for the next mark from which there is one. Since every block of edges
// carries its own absolute time, whatever comes after is right again: damage
// costs the blocks it hits (16 edges each) and never yields a wrong edge.
//
// # Size
//
// A full block of kernel edges (whole µs, less than 2.1 s apart, on the first
// 31 buttons and four keys of each) takes at most 15 + 1 + 15·(3+1) = 76 bytes,
// 4.75 an edge; a stream stamped in single ns takes about one byte more. A live recording is flushed every 250 ms, with fewer edges in
// its blocks; closing it packs them.
package take

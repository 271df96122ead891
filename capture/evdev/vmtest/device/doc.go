// Package device makes input devices out of nothing, inside the test machine,
// and reads device nodes as a second reader beside the code under test.
//
// A [Virtual] device is made through uinput: its events enter the input core as
// a driver's would. A [HID] device is made through uhid from a report
// descriptor: the kernel's HID driver parses the descriptor and the reports, as
// it does for a pad on a cable. Both exist until Close, which is unplugging.
//
// A [Node] is a reader of a device node. Whatever is written to a device is in
// the queue of all its readers when the writing call returns, stamped once by
// the kernel; so [Node.Pending], called after it, is the expected result.
// The package decodes events by itself and shares no code with the code under
// test but the kernel's constants.
package device

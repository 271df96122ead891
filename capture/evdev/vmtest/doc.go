// Package vmtest tests kernel input against a real kernel, without hardware
// and without touching the machine that runs the tests.
//
// It boots Debian's ordinary kernel under qemu with an initial RAM file system
// made on the spot: one static Go program as /init (package guestinit), the
// kernel modules for input devices and one network card, and whatever programs
// the test wants to run inside. The devices are made inside by package device,
// through uinput (events as a driver would send them) and through uhid (a HID
// report descriptor, from which the kernel's own HID driver builds the device).
//
// # Why a machine of its own
//
// A container has no /dev/uinput, and on a desktop made-up keys would reach the
// desktop. Inside the machine the tests are root, the devices are real input
// devices, and unplugging one is the kernel's own unplugging.
//
// # What it needs
//
// qemu-system-x86_64 and the kernel package that linux-image-amd64 depends on.
// [FetchKernel] downloads that package with apt-get (no root needed) and keeps
// the few files that matter in a cache folder outside the tree: the user's
// cache folder, or what HOLDGAP_CACHE names. The processor is emulated, so no
// acceleration is needed; HOLDGAP_VM_ACCEL=kvm saves some seconds where
// /dev/kvm is known to work. [Require] skips a test that cannot run, with a
// message that begins "left out:", or fails it where HOLDGAP_STRICT=1.
//
// # Ways in
//
// [Boot] starts a machine from a [Config] and returns a [Machine]. [Build]
// compiles what is to run inside. [StartPlayer] is the ready-made machine for
// end-to-end tests: a server of the test's choice inside, reachable from
// outside, and a player who presses buttons when told to.
//
// # Times
//
// The kernel stamps uinput events itself, and sleeps inside an emulated machine
// are off by milliseconds. So no test asks for a press at a given time and
// expects that time back: the expected times are those that a second reader,
// which shares no code with the code under test, saw on the same device node.
// The kernel stamps an event once for all its readers, so both must agree to
// the microsecond.
package vmtest

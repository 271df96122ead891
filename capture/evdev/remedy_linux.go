package evdev

import (
	"fmt"
	"os"
	"os/user"
	"strconv"
	"strings"
	"syscall"
)

// RuleFile is where a udev rule that opens devices to the user belongs: before
// 73-seat-late.rules, which acts on the tag uaccess.
const RuleFile = "/etc/udev/rules.d/70-holdgap.rules"

// rule is the line that lets the user at the machine read one kind of device.
func (n *node) rule() string {
	return fmt.Sprintf(`SUBSYSTEM=="input", KERNEL=="event*", ATTRS{id/bustype}=="%04x", ATTRS{id/vendor}=="%04x", ATTRS{id/product}=="%04x", TAG+="uaccess"`,
		n.bus, n.vendor, n.product)
}

// remedy says exactly how to become allowed to read devices: a rule for just these,
// or else the group that owns the nodes.
func remedy(nodes []node) string {
	var rules []string
	seen := map[string]bool{}
	for _, n := range nodes {
		if l := n.rule(); n.known && !seen[l] {
			seen[l] = true
			rules = append(rules, l)
		}
	}
	var say []string
	if len(rules) > 0 {
		line := "this line"
		if len(rules) > 1 {
			line = "these lines"
		}
		say = append(say, fmt.Sprintf("as root, write %s to %s and then run `udevadm control --reload && udevadm trigger` (or replug the device):\n%s",
			line, RuleFile, strings.Join(rules, "\n")))
	}
	if group := owner(nodes[0].path); group != "" {
		or := ""
		if len(say) > 0 {
			or = "or, which opens every device of the group and so the keyboards too, to every program you run: "
		}
		say = append(say, fmt.Sprintf("%sadd yourself to the group %s with `sudo usermod -aG %s \"$USER\"` and log out and in again", or, group, group))
	}
	if len(say) == 0 {
		return fmt.Sprintf("ask for its permissions to be opened (`ls -l %s` shows them)", nodes[0].path)
	}
	return strings.Join(say, "\n")
}

// owner names the group that may read a node, or "" if being in it would not help.
func owner(path string) string {
	st, err := os.Stat(path)
	if err != nil {
		return ""
	}
	sys, ok := st.Sys().(*syscall.Stat_t)
	if !ok || st.Mode().Perm()&0o040 == 0 || sys.Gid == 0 {
		return ""
	}
	g, err := user.LookupGroupId(strconv.FormatUint(uint64(sys.Gid), 10))
	if err != nil {
		return ""
	}
	return g.Name
}

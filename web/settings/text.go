package settings

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"
)

// entry is one key with its value as it stands in a file. Together its parts are
// its text: comments and blank lines before it, the key up to the value, the
// value, and the rest of the line.
type entry struct {
	lead, key, value, rest string
	path                   []string // the key's parts
	line                   int
}

// block is a header with what is under it. The first one of a file has no header.
type block struct {
	lead, head string // comments and blank lines before the header, and its line
	path       []string
	array      bool
	entries    []*entry
	tail       string // comments and blank lines after the last entry
	line       int
}

// cutter cuts a file that the parser found to be right TOML into blocks.
type cutter struct {
	s    string
	at   int
	line int
}

func (c *cutter) rest() string { return c.s[c.at:] }

// move goes on by n bytes and returns them.
func (c *cutter) move(n int) string {
	out := c.s[c.at : c.at+n]
	c.at += n
	c.line += strings.Count(out, "\n")
	return out
}

// space takes spaces and tabs.
func (c *cutter) space() string {
	n := 0
	for n < len(c.rest()) && (c.rest()[n] == ' ' || c.rest()[n] == '\t') {
		n++
	}
	return c.move(n)
}

// lineEnd takes what is left of the line.
func (c *cutter) lineEnd() string {
	if i := strings.IndexByte(c.rest(), '\n'); i >= 0 {
		return c.move(i + 1)
	}
	return c.move(len(c.rest()))
}

// trivia takes blank lines and comments.
func (c *cutter) trivia() string {
	start := c.at
	for c.at < len(c.s) {
		text := strings.TrimLeft(c.rest(), " \t")
		if text != "" && text[0] != '#' && text[0] != '\n' && !strings.HasPrefix(text, "\r\n") {
			break
		}
		c.lineEnd()
	}
	return c.s[start:c.at]
}

// keyPath takes a key with its dots.
func (c *cutter) keyPath() ([]string, error) {
	var path []string
	for {
		c.space()
		rest := c.rest()
		n := 0
		if rest != "" && (rest[0] == '"' || rest[0] == '\'') {
			n = stringLength(rest)
		} else {
			for n < len(rest) && !strings.ContainsRune(" \t.=]\n", rune(rest[n])) {
				n++
			}
		}
		if n == 0 {
			return nil, fmt.Errorf("line %d: no key where one was looked for", c.line)
		}
		part := c.move(n)
		if part[0] == '"' || part[0] == '\'' {
			var v struct{ K string }
			if _, err := toml.Decode("K = "+part, &v); err != nil {
				return nil, fmt.Errorf("line %d: the key %s cannot be read", c.line, part)
			}
			part = v.K
		}
		path = append(path, part)
		c.space()
		if !strings.HasPrefix(c.rest(), ".") {
			return path, nil
		}
		c.move(1)
	}
}

// stringLength returns the length of the TOML string that s begins with.
func stringLength(s string) int {
	q := s[:1]
	if strings.HasPrefix(s, q+q+q) {
		for i := 3; i < len(s); i++ {
			if s[i] == '\\' && q == `"` {
				i++
			} else if strings.HasPrefix(s[i:], q+q+q) {
				i += 3
				for n := 0; n < 2 && strings.HasPrefix(s[i:], q); n++ { // quotes at the very end belong to it
					i++
				}
				return i
			}
		}
		return len(s)
	}
	for i := 1; i < len(s); i++ {
		if s[i] == '\\' && q == `"` {
			i++
		} else if s[i:i+1] == q {
			return i + 1
		}
	}
	return len(s)
}

// valueLength returns the length of the TOML value that s begins with.
func valueLength(s string) int {
	depth, end := 0, 0
	for i := 0; i < len(s); {
		switch s[i] {
		case '"', '\'':
			i += stringLength(s[i:])
			end = i
			continue
		case '#':
			if depth == 0 {
				return end
			}
			if n := strings.IndexByte(s[i:], '\n'); n >= 0 {
				i += n
			} else {
				i = len(s)
			}
			continue
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case '\n':
			if depth == 0 {
				return end
			}
		}
		i++
		if c := s[i-1]; c != ' ' && c != '\t' && c != '\r' && c != '\n' {
			end = i
		}
	}
	return end
}

// comments returns the comments inside of a value.
func comments(value string) (list []string) {
	for i := 0; i < len(value); i++ {
		switch value[i] {
		case '"', '\'':
			i += stringLength(value[i:]) - 1
		case '#':
			n := strings.IndexByte(value[i:], '\n')
			if n < 0 {
				n = len(value) - i
			}
			list = append(list, strings.TrimRight(value[i:i+n], " \t\r"))
			i += n
		}
	}
	return list
}

// cut cuts a file into blocks, of which the first has no header.
func cut(text string) ([]*block, error) {
	c := &cutter{s: text, line: 1}
	b := &block{line: 1}
	blocks := []*block{b}
	for {
		lead := c.trivia()
		if c.at == len(c.s) {
			b.tail += lead
			return blocks, nil
		}
		line, start := c.line, c.at
		c.space()
		if strings.HasPrefix(c.rest(), "[") {
			next := &block{line: line}
			stay, own := splitLead(lead)
			b.tail += stay
			next.lead = own
			c.move(1)
			if next.array = strings.HasPrefix(c.rest(), "["); next.array {
				c.move(1)
			}
			var err error
			if next.path, err = c.keyPath(); err != nil {
				return nil, err
			}
			c.lineEnd()
			next.head = c.s[start:c.at]
			b = next
			blocks = append(blocks, b)
			continue
		}
		path, err := c.keyPath()
		if err != nil {
			return nil, err
		}
		if !strings.HasPrefix(c.rest(), "=") {
			return nil, fmt.Errorf("line %d: no = after a key", c.line)
		}
		c.move(1)
		c.space()
		e := &entry{lead: lead, key: c.s[start:c.at], path: path, line: line}
		e.value = c.move(valueLength(c.rest()))
		e.rest = c.lineEnd()
		b.entries = append(b.entries, e)
	}
}

// splitLead splits what stands before a header or key into what stands for
// itself and the comment right above, with the blank lines above that.
func splitLead(lead string) (stay, own string) {
	lines := strings.SplitAfter(lead, "\n")
	i := len(lines)
	if lines[i-1] == "" {
		i--
	}
	blank := func(s string) bool { return strings.TrimSpace(s) == "" }
	for i > 0 && !blank(lines[i-1]) {
		i--
	}
	for i > 0 && blank(lines[i-1]) {
		i--
	}
	return strings.Join(lines[:i], ""), strings.Join(lines[i:], "")
}

// node is a table of a file with its block, if it has one, and the tables in it.
type node struct {
	block *block
	kids  []*kid
}

// kid is a table, or an array of tables, by name.
type kid struct {
	name  string
	array bool
	nodes []*node
}

func (n *node) kid(name string) *kid {
	for _, k := range n.kids {
		if k.name == name {
			return k
		}
	}
	return nil
}

// grow makes the tree of a file's tables.
func grow(blocks []*block) *node {
	root := &node{block: blocks[0]}
	for _, b := range blocks[1:] {
		cur := root
		for i, name := range b.path {
			last := i == len(b.path)-1
			k := cur.kid(name)
			if k == nil {
				k = &kid{name: name, array: last && b.array}
				if !k.array {
					k.nodes = []*node{{}}
				}
				cur.kids = append(cur.kids, k)
			}
			if last && b.array {
				k.nodes = append(k.nodes, &node{})
			}
			cur = k.nodes[len(k.nodes)-1]
			if last {
				cur.block = b
			}
		}
	}
	return root
}

// index adds the line of every header and key under path.
func (n *node) index(path string, lines map[string]int) {
	if n.block != nil {
		if path != "" {
			lines[path] = n.block.line
		}
		for _, e := range n.block.entries {
			lines[join(path, strings.Join(e.path, "."))] = e.line
		}
	}
	for _, k := range n.kids {
		for i, m := range k.nodes {
			at := join(path, k.name)
			if k.array {
				at = join(at, strconv.Itoa(i))
			}
			m.index(at, lines)
		}
	}
}

package settings

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
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

// writer puts a file together anew out of its pieces and what changed.
type writer struct {
	out bytes.Buffer
	nl  string
}

// rewrite returns the file's text with its tables changed to t. What did not
// change is left byte for byte; tables that moved take their text along.
func rewrite(text string, old map[string]any, t *table) (string, error) {
	blocks, err := cut(text)
	if err != nil {
		return "", err
	}
	w := &writer{nl: "\n"}
	if i := strings.IndexByte(text, '\n'); i > 0 && text[i-1] == '\r' {
		w.nl = "\r\n"
	}
	w.node(grow(blocks), t, old, nil, false, false)
	return w.out.String(), nil
}

// text writes s, at the start of a line if it is to be.
func (w *writer) text(s string, newLine bool) {
	if b := w.out.Bytes(); newLine && s != "" && len(b) > 0 && b[len(b)-1] != '\n' {
		w.out.WriteString(w.nl)
	}
	w.out.WriteString(s)
}

// node writes a table that was there before. closed says that its keys stand in
// dotted form elsewhere, so that none can be added here.
func (w *writer) node(n *node, t *table, old map[string]any, path []string, array, closed bool) {
	var done []string // keys that stand here, or in dotted form
	var dotted []string
	missing := func() []string {
		var list []string
		for _, k := range t.keys {
			if !slices.Contains(done, k) && n.kid(k) == nil {
				list = append(list, k)
			}
		}
		return list
	}
	tail, indent := "", ""
	if b := n.block; b != nil {
		w.text(b.lead, true)
		w.text(b.head, true)
		for _, e := range b.entries {
			w.entry(e, t, old)
			done = append(done, e.path[0])
			if len(e.path) > 1 && !slices.Contains(dotted, e.path[0]) {
				dotted = append(dotted, e.path[0])
			}
			indent = e.key[:len(e.key)-len(strings.TrimLeft(e.key, " \t"))]
		}
		tail = b.tail
		if b.head == "" && len(b.entries) == 0 { // the comment at the top stays there
			w.text(tail, true)
			tail = ""
		}
	}
	for _, k := range dotted {
		if sub, ok := t.vals[k].(*table); ok {
			w.dotted(n, sub, []string{k}, indent)
		}
	}
	var tables []string
	for _, k := range missing() {
		if isTable(t.vals[k]) {
			tables = append(tables, k)
			continue
		}
		if closed {
			continue // its owner writes it in dotted form
		}
		if n.block == nil && len(done) == 0 {
			w.header(path, array)
		}
		done = append(done, k)
		w.add(indent, []string{k}, t.vals[k])
	}
	w.text(tail, true)
	for _, k := range n.kids {
		w.kid(k, t.vals[k.name], old[k.name], append(path[:len(path):len(path)], k.name), slices.Contains(done, k.name))
	}
	if closed {
		return
	}
	for _, k := range tables {
		w.fresh(t.vals[k], append(path[:len(path):len(path)], k))
	}
}

// dotted adds the keys of a table in dotted form that do not stand there yet.
func (w *writer) dotted(n *node, t *table, path []string, indent string) {
	at := n
	for _, p := range path {
		if at != nil {
			if k := at.kid(p); k != nil && !k.array {
				at = k.nodes[0]
			} else {
				at = nil
			}
		}
	}
	for _, k := range t.keys {
		full := append(path[:len(path):len(path)], k)
		whole, part := false, false
		for _, e := range n.block.entries {
			if len(e.path) >= len(full) && slices.Equal(e.path[:len(full)], full) {
				whole = whole || len(e.path) == len(full)
				part = true
			}
		}
		sub, isSub := t.vals[k].(*table)
		switch {
		case whole, at != nil && at.kid(k) != nil:
		case part && isSub:
			w.dotted(n, sub, full, indent)
		default:
			w.add(indent, full, t.vals[k])
		}
	}
}

// entry writes a key that was there before, unless it is gone.
func (w *writer) entry(e *entry, t *table, old map[string]any) {
	var was, is any = old, t
	for _, k := range e.path {
		if m, ok := was.(map[string]any); ok {
			was = m[k]
		}
		sub, ok := is.(*table)
		if !ok {
			is = nil
			break
		}
		is = sub.vals[k]
	}
	if is == nil || is == any((*table)(nil)) {
		stay, _ := splitLead(e.lead)
		w.text(stay, true)
		return
	}
	value := e.value
	w.text(e.lead, true)
	if !reflect.DeepEqual(plain(is), was) {
		indent := e.key[:len(e.key)-len(strings.TrimLeft(e.key, " \t"))]
		value = inline(is, w.nl+indent)
		for _, c := range comments(e.value) { // of a list over several lines
			w.text(indent+c+w.nl, true)
		}
	}
	w.text(e.key+value+e.rest, true)
}

// kid writes a table, or an array of tables, that was there before.
func (w *writer) kid(k *kid, is, was any, path []string, closed bool) {
	if !k.array {
		if sub, ok := is.(*table); ok {
			m, _ := was.(map[string]any)
			w.node(k.nodes[0], sub, m, path, false, closed)
		} else {
			w.gone(k.nodes[0])
		}
		return
	}
	list, _ := is.([]*table)
	olds, _ := was.([]any)
	kept := make([]bool, len(k.nodes))
	for _, t := range list {
		if t.from >= 0 && t.from < len(k.nodes) && t.from < len(olds) {
			kept[t.from] = true
			m, _ := olds[t.from].(map[string]any)
			w.node(k.nodes[t.from], t, m, path, true, false)
			continue
		}
		w.element(t, path)
	}
	for i := range k.nodes {
		if !kept[i] {
			w.gone(k.nodes[i])
		}
	}
}

// gone keeps the comments that stand for themselves after a table that is gone.
func (w *writer) gone(n *node) {
	if n.block != nil {
		if strings.TrimSpace(n.block.tail) != "" {
			w.text(n.block.tail, true)
		}
	}
	for _, k := range n.kids {
		for _, m := range k.nodes {
			w.gone(m)
		}
	}
}

// fresh writes a table, or an array of tables, that is new.
func (w *writer) fresh(v any, path []string) {
	if list, ok := v.([]*table); ok {
		for _, t := range list {
			w.element(t, path)
		}
		return
	}
	w.header(path, false)
	w.body(v.(*table), path)
}

// element writes a new element of an array of tables.
func (w *writer) element(t *table, path []string) {
	w.header(path, true)
	w.body(t, path)
}

func (w *writer) body(t *table, path []string) {
	for _, k := range t.keys {
		if !isTable(t.vals[k]) {
			w.add("", []string{k}, t.vals[k])
		}
	}
	for _, k := range t.keys {
		if isTable(t.vals[k]) {
			w.fresh(t.vals[k], append(path[:len(path):len(path)], k))
		}
	}
}

// header writes the header of a new table, with a blank line above.
func (w *writer) header(path []string, array bool) {
	if w.out.Len() > 0 && !bytes.HasSuffix(w.out.Bytes(), []byte(w.nl+w.nl)) {
		w.text(w.nl, true)
	}
	name := keyText(path)
	if array {
		name = "[" + name + "]"
	}
	w.out.WriteString("[" + name + "]" + w.nl)
}

// add writes a new key.
func (w *writer) add(indent string, path []string, v any) {
	w.text(indent+keyText(path)+" = "+inline(v, w.nl+indent)+w.nl, true)
}

func isTable(v any) bool {
	if list, ok := v.([]*table); ok {
		return len(list) > 0
	}
	_, ok := v.(*table)
	return ok
}

// keyText writes a key with its dots.
func keyText(path []string) string {
	parts := make([]string, len(path))
	for i, p := range path {
		parts[i] = p
		if p == "" || strings.Trim(p, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-") != "" {
			parts[i] = scalar(p)
		}
	}
	return strings.Join(parts, ".")
}

// inline writes a value behind a key.
func inline(v any, nl string) string {
	switch v := v.(type) {
	case *table:
		var parts []string
		for _, k := range v.keys {
			parts = append(parts, keyText([]string{k})+" = "+inline(v.vals[k], ""))
		}
		if len(parts) == 0 {
			return "{}"
		}
		return "{ " + strings.Join(parts, ", ") + " }"
	case []*table:
		var parts []string
		for _, t := range v {
			parts = append(parts, inline(t, ""))
		}
		if nl == "" || len(parts) < 2 {
			return "[" + strings.Join(parts, ", ") + "]"
		}
		return "[" + nl + "  " + strings.Join(parts, ","+nl+"  ") + "," + nl + "]"
	case map[string]any:
		return inline(lift(v), nl)
	case []any:
		var parts []string
		for _, x := range v {
			parts = append(parts, inline(x, ""))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	return scalar(v)
}

// scalar writes a single value as the TOML library does.
func scalar(v any) string {
	b, err := toml.Marshal(map[string]any{"k": v})
	if err != nil {
		return `""` // found out when the result is read again
	}
	return strings.TrimSuffix(strings.TrimPrefix(string(b), "k = "), "\n")
}

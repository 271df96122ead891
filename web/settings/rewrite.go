package settings

import (
	"bytes"
	"reflect"
	"slices"
	"strings"

	"github.com/BurntSushi/toml"
)

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

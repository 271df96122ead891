package settings

import (
	"encoding"
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
)

// table is a TOML table with its keys in order. A value is a leaf (string,
// bool, int64, float64, a date, a []any), a *table or an []*table.
type table struct {
	keys []string
	vals map[string]any
	from int // for an element of an array: its place in the array before, or −1
}

func newTable(from int) *table { return &table{vals: map[string]any{}, from: from} }

func (t *table) set(key string, v any) {
	if _, ok := t.vals[key]; !ok {
		t.keys = append(t.keys, key)
	}
	t.vals[key] = v
}

// plain returns the value as maps and slices, as the parser gives them.
func plain(v any) any {
	switch v := v.(type) {
	case *table:
		m := map[string]any{}
		for k, x := range v.vals {
			m[k] = plain(x)
		}
		return m
	case []*table:
		list := make([]any, len(v))
		for i := range v {
			list[i] = plain(v[i])
		}
		return list
	}
	return v
}

// uniform turns the parser's arrays of tables into plain arrays, all the way down.
func uniform(v any) any {
	switch v := v.(type) {
	case map[string]any:
		for k := range v {
			v[k] = uniform(v[k])
		}
		return v
	case []map[string]any:
		list := make([]any, len(v))
		for i := range v {
			list[i] = uniform(v[i])
		}
		return list
	case []any:
		for i := range v {
			v[i] = uniform(v[i])
		}
		return v
	}
	return v
}

// tag returns the key of a struct's field and whether it is left out when empty.
func tag(f reflect.StructField) (key string, omit bool) {
	key, rest, _ := strings.Cut(f.Tag.Get("toml"), ",")
	return key, rest == "omitempty"
}

// identity is the key by which elements of an array are told apart; arrays that
// are not named here go by their place.
var identity = map[string]string{"profile_for": "name", "button": "label", "target": "name"}

// decoder turns a parsed file into settings and notes everything wrong.
type decoder struct {
	wrong   Problems
	unknown Problems
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

func (d *decoder) fail(path, format string, args ...any) {
	d.wrong = append(d.wrong, Problem{Path: path, Reason: fmt.Sprintf(format, args...)})
}

func (d *decoder) structure(v reflect.Value, m map[string]any, path string) {
	known := map[string]bool{}
	var names []string
	for i := range v.NumField() {
		key, _ := tag(v.Type().Field(i))
		known[key] = true
		names = append(names, key)
		if x, ok := m[key]; ok {
			d.value(v.Field(i), x, join(path, key), key)
		}
	}
	var others []string
	for key := range m {
		if !known[key] {
			others = append(others, key)
		}
	}
	slices.Sort(others)
	for _, key := range others {
		d.unknown = append(d.unknown, Problem{Path: join(path, key), Reason: fmt.Sprintf(
			"the key %q is not known here and does nothing: there are %s", key, strings.Join(names, ", "))})
	}
}

func (d *decoder) value(v reflect.Value, x any, path, key string) {
	if text, ok := v.Addr().Interface().(encoding.TextUnmarshaler); ok {
		s, ok := x.(string)
		switch n := x.(type) { // a rate may be written as a number
		case int64:
			s, ok = strconv.FormatInt(n, 10), key == "rate"
		case float64:
			s, ok = strconv.FormatFloat(n, 'f', -1, 64), key == "rate"
		}
		if !ok {
			d.fail(path, "%s must be a text in quotes, not %s", key, kind(x))
		} else if err := text.UnmarshalText([]byte(s)); err != nil {
			d.fail(path, "%s: %v", key, err)
		}
		return
	}
	bad := func(want string) { d.fail(path, "%s must be %s, not %s", key, want, kind(x)) }
	switch v.Kind() {
	case reflect.String:
		if s, ok := x.(string); ok {
			v.SetString(s)
		} else {
			bad("a text in quotes")
		}
	case reflect.Bool:
		if b, ok := x.(bool); ok {
			v.SetBool(b)
		} else {
			bad("true or false")
		}
	case reflect.Int, reflect.Int64:
		if n, ok := x.(int64); ok && !v.OverflowInt(n) {
			v.SetInt(n)
		} else {
			bad("a whole number")
		}
	case reflect.Float64:
		switch n := x.(type) {
		case int64:
			v.SetFloat(float64(n))
		case float64:
			v.SetFloat(n)
		default:
			bad("a number")
		}
	case reflect.Pointer:
		p := reflect.New(v.Type().Elem())
		d.value(p.Elem(), x, path, key)
		v.Set(p)
	case reflect.Struct:
		if m, ok := x.(map[string]any); ok {
			d.structure(v, m, path)
		} else {
			bad("a table")
		}
	case reflect.Map:
		m, ok := x.(map[string]any)
		if !ok {
			bad("a table")
			return
		}
		out := reflect.MakeMap(v.Type())
		for k, x := range m {
			item := reflect.New(v.Type().Elem()).Elem()
			d.value(item, x, join(path, k), k)
			out.SetMapIndex(reflect.ValueOf(k), item)
		}
		v.Set(out)
	case reflect.Slice:
		list, ok := x.([]any)
		if !ok {
			bad("a list")
			return
		}
		out := reflect.MakeSlice(v.Type(), len(list), len(list))
		for i, x := range list {
			item := out.Index(i)
			if p, ok := item.Addr().Interface().(interface{ defaults() }); ok {
				p.defaults()
			}
			d.value(item, x, join(path, strconv.Itoa(i)), key)
		}
		v.Set(out)
	default:
		panic("settings: a field of kind " + v.Kind().String())
	}
}

// kind names a parsed value for people and quotes a short one.
func kind(x any) string {
	switch x := x.(type) {
	case string:
		if r := []rune(x); len(r) > longestQuote {
			x = string(r[:longestQuote]) + "…"
		}
		return "the text " + strconv.Quote(x)
	case bool, int64, float64:
		return fmt.Sprint(x)
	case map[string]any:
		return "a table"
	case []any:
		return "a list"
	}
	return "a date or a time"
}

// merge returns the table that a struct is written as over what the file had
// before: the file's own writing of a value that is the same, the keys that are
// not known, and every value that has to be said.
func merge(v reflect.Value, old map[string]any) *table {
	t := newTable(-1)
	known := map[string]bool{}
	def := reflect.New(v.Type()).Elem()
	if p, ok := def.Addr().Interface().(interface{ defaults() }); ok {
		p.defaults()
	}
	for i := range v.NumField() {
		key, omit := tag(v.Type().Field(i))
		known[key] = true
		before, had := old[key]
		if len(old) > 0 && !had && reflect.DeepEqual(copied(v.Field(i)).Interface(), copied(def.Field(i)).Interface()) {
			continue // whoever wrote the file left it to us
		}
		if x, ok := mergeValue(v.Field(i), before, had, omit, key); ok {
			t.set(key, x)
		}
	}
	var others []string
	for key := range old {
		if !known[key] {
			others = append(others, key)
		}
	}
	slices.Sort(others)
	for _, key := range others {
		t.set(key, lift(old[key]))
	}
	return t
}

func mergeValue(v reflect.Value, before any, had, omit bool, key string) (x any, ok bool) {
	if had && sameValue(v, before, key) && !isTables(v.Type()) {
		return lift(before), true
	}
	if !had && omit && isEmpty(v) {
		return nil, false
	}
	if text, ok := v.Interface().(encoding.TextMarshaler); ok {
		b, err := text.MarshalText()
		if err != nil {
			return nil, false
		}
		return string(b), true
	}
	switch v.Kind() {
	case reflect.String:
		return v.String(), true
	case reflect.Bool:
		return v.Bool(), true
	case reflect.Int, reflect.Int64:
		return v.Int(), true
	case reflect.Float64:
		return v.Float(), true
	case reflect.Pointer:
		if v.IsNil() {
			return nil, false
		}
		return mergeValue(v.Elem(), before, had, false, key)
	case reflect.Struct:
		m, _ := before.(map[string]any)
		t := merge(v, m)
		return t, had || !omit || len(t.keys) > 0
	case reflect.Map:
		t := newTable(-1)
		names := v.MapKeys()
		slices.SortFunc(names, func(a, b reflect.Value) int { return strings.Compare(a.String(), b.String()) })
		for _, k := range names {
			t.set(k.String(), v.MapIndex(k).String())
		}
		return t, len(t.keys) > 0 || had
	case reflect.Slice:
		return mergeSlice(v, before, had, key)
	}
	panic("settings: a field of kind " + v.Kind().String())
}

func mergeSlice(v reflect.Value, before any, had bool, key string) (any, bool) {
	if v.Type().Elem().Kind() != reflect.Struct {
		list := []any{}
		for i := range v.Len() {
			list = append(list, v.Index(i).String())
		}
		return list, true
	}
	list, _ := before.([]any)
	if v.Len() == 0 {
		return list, had && len(list) == 0
	}
	olds := make([]map[string]any, len(list))
	for i := range list {
		olds[i], _ = list[i].(map[string]any)
	}
	out := make([]*table, v.Len())
	for i, from := range pair(v, olds, key) {
		var m map[string]any
		if from >= 0 {
			m = olds[from]
		}
		out[i] = merge(v.Index(i), m)
		out[i].from = from
	}
	return out, true
}

// pair finds for each element the one that it was before: by its name where it
// has one, and what is left by its place.
func pair(v reflect.Value, olds []map[string]any, key string) []int {
	from := make([]int, v.Len())
	taken := make([]bool, len(olds))
	id := identity[key]
	for i := range from {
		from[i] = -1
		if id == "" {
			continue
		}
		for j := range olds {
			if name, ok := olds[j][id].(string); ok && !taken[j] && name == fieldByTag(v.Index(i), id) {
				from[i], taken[j] = j, true
				break
			}
		}
	}
	if id == "" { // the same first, so that taking one out keeps the others' comments
		for i := range from {
			for j := range olds {
				if !taken[j] && sameValue(v.Index(i), olds[j], key) {
					from[i], taken[j] = j, true
					break
				}
			}
		}
	}
	for i := range from {
		if from[i] < 0 && i < len(olds) && !taken[i] && len(olds) == len(from) {
			from[i], taken[i] = i, true
		}
	}
	return from
}

func fieldByTag(v reflect.Value, key string) string {
	for i := range v.NumField() {
		if k, _ := tag(v.Type().Field(i)); k == key {
			return v.Field(i).String()
		}
	}
	return ""
}

// sameValue reports whether what the file had means the value.
func sameValue(v reflect.Value, before any, key string) bool {
	var d decoder
	was := reflect.New(v.Type()).Elem()
	if p, ok := was.Addr().Interface().(interface{ defaults() }); ok {
		p.defaults()
	}
	d.value(was, before, "", key)
	return len(d.wrong) == 0 && reflect.DeepEqual(copied(was).Interface(), copied(v).Interface())
}

// isTables reports whether a type is written as tables, which are compared
// value by value.
func isTables(t reflect.Type) bool {
	if t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	return t.Kind() == reflect.Struct && !reflect.PointerTo(t).Implements(reflect.TypeFor[encoding.TextUnmarshaler]())
}

func isEmpty(v reflect.Value) bool {
	switch v.Kind() {
	case reflect.Slice, reflect.Map:
		return v.Len() == 0
	case reflect.Struct: // tables decide for themselves, value by value
		return v.IsZero() && !isTables(v.Type())
	}
	return v.IsZero()
}

// lift turns a parsed value into tables.
func lift(x any) any {
	switch x := x.(type) {
	case map[string]any:
		t := newTable(-1)
		keys := make([]string, 0, len(x))
		for k := range x {
			keys = append(keys, k)
		}
		slices.Sort(keys)
		for _, k := range keys {
			t.set(k, lift(x[k]))
		}
		return t
	case []any:
		var list []*table
		for i := range x {
			t, ok := lift(x[i]).(*table)
			if !ok {
				return x
			}
			t.from = i
			list = append(list, t)
		}
		if list == nil {
			return x
		}
		return list
	}
	return x
}

// copied returns a deep copy in which no slice and no map is nil.
func copied(v reflect.Value) reflect.Value {
	out := reflect.New(v.Type()).Elem()
	out.Set(v)
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			p := reflect.New(v.Type().Elem())
			p.Elem().Set(copied(v.Elem()))
			out.Set(p)
		}
	case reflect.Slice:
		out.Set(reflect.MakeSlice(v.Type(), v.Len(), v.Len()))
		for i := range v.Len() {
			out.Index(i).Set(copied(v.Index(i)))
		}
	case reflect.Map:
		out.Set(reflect.MakeMap(v.Type()))
		for _, k := range v.MapKeys() {
			out.SetMapIndex(k, copied(v.MapIndex(k)))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				out.Field(i).Set(copied(v.Field(i)))
			}
		}
	}
	return out
}

// Clone returns a copy that shares nothing. Lists and maps in it are never nil.
func (s *Settings) Clone() Settings {
	return copied(reflect.ValueOf(*s)).Interface().(Settings)
}

// finite reports whether x is a number.
func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }

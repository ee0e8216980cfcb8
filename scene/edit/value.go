package edit

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// plainWord is a text that needs no quotes, if it is none of the words below.
var plainWord = regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_./-]*(:[A-Za-z0-9_./-]+)?$`)

var otherWords = []string{"true", "false", "on", "off", "yes", "no", "null", "nan", "inf"}

// Text writes a value in flow style, as it may stand behind a key.
func Text(value any) (string, error) {
	switch v := value.(type) {
	case Raw:
		return string(v), nil
	case nil:
		return "null", nil
	case bool:
		return strconv.FormatBool(v), nil
	case int:
		return strconv.Itoa(v), nil
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", fmt.Errorf("%v is not finite", v)
		}
		if math.Abs(v) >= 1e-4 && math.Abs(v) < 1e15 || v == 0 {
			return strconv.FormatFloat(v+0, 'f', -1, 64), nil
		}
		return strconv.FormatFloat(v, 'e', -1, 64), nil
	case string:
		if plainWord.MatchString(v) && !slices.Contains(otherWords, strings.ToLower(v)) {
			return v, nil
		}
		return quote(v), nil
	case []float64:
		list := make([]any, len(v))
		for i := range v {
			list[i] = v[i]
		}
		return Text(list)
	case []any:
		parts := make([]string, len(v))
		for i := range v {
			var err error
			if parts[i], err = Text(v[i]); err != nil {
				return "", err
			}
		}
		return "[" + strings.Join(parts, ", ") + "]", nil
	case map[string]any:
		keys := slices.SortedFunc(maps.Keys(v), func(a, b string) int { return strings.Compare(order(a), order(b)) })
		parts := make([]string, len(keys))
		for i, k := range keys {
			text, err := Text(v[k])
			if err != nil {
				return "", err
			}
			parts[i] = word(k) + ": " + text
		}
		return "{" + strings.Join(parts, ", ") + "}", nil
	}
	return "", fmt.Errorf("a value of type %T has no form in a scene file", value)
}

// order puts the name of an entry and its kind before its other keys.
func order(key string) string {
	switch key {
	case "name":
		return "\x00"
	case "kind", "shape":
		return "\x01"
	}
	return key
}

// word writes a key.
func word(key string) string {
	if plainWord.MatchString(key) && !strings.Contains(key, ":") && !slices.Contains(otherWords, strings.ToLower(key)) || key == "on" {
		return key
	}
	return quote(key)
}

// quote writes a text in double quotes; strings of JSON are YAML's.
func quote(text string) string {
	data, _ := json.Marshal(text) // strings always have a form
	return string(data)
}

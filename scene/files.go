package scene

import "reflect"

// Files lists the files that the description names, each once, in its order: pictures, meshes, environments. The scene
// file itself comes first.
func (d *Description) Files() []string {
	var out []string
	seen := map[string]bool{}
	add := func(path string) {
		if path != "" && !seen[path] {
			seen[path] = true
			out = append(out, path)
		}
	}
	add(d.File)
	var walk func(v reflect.Value)
	walk = func(v reflect.Value) {
		switch v.Kind() {
		case reflect.Pointer:
			if !v.IsNil() {
				walk(v.Elem())
			}
		case reflect.Struct:
			for i := range v.NumField() {
				if v.Type().Field(i).IsExported() {
					walk(v.Field(i))
				}
			}
		case reflect.Slice:
			for i := range v.Len() {
				walk(v.Index(i))
			}
		case reflect.String:
			if p, ok := v.Interface().(Path); ok {
				add(string(p))
			}
		}
	}
	walk(reflect.ValueOf(d))
	return out
}

package console

import (
	"encoding"
	"encoding/json"
	"maps"
	"net/http"
	"path"
	"reflect"
	"slices"
	"strings"
	"time"

	"sweepd/analysis"
	"sweepd/run"
	"sweepd/testday"
)

// object is a value of JSON.
type object = map[string]any

// OpenAPI describes the HTTP API (OpenAPI 3.1.0), of the operations and types that there
// are.
func OpenAPI() ([]byte, error) {
	d := description{schemas: object{}}
	paths := object{}
	add := func(about testday.About, request, answer any, zoned bool) object {
		at, _ := paths[prefix+about.Path].(object)
		if at == nil {
			at = object{}
			paths[prefix+about.Path] = at
		}
		o := d.operation(about, request, answer, zoned)
		at[strings.ToLower(about.Method)] = o
		return o
	}
	for _, op := range testday.Operations() {
		add(op.Described(), op.NewRequest(), op.NewAnswer(), true)
	}
	for _, l := range (&handler{}).live() {
		o := add(l.about, l.request, l.answer, false)
		if l.once {
			given, _ := o["parameters"].([]object)
			o["parameters"] = append(given, object{"name": keyHeader, "in": "header", "schema": object{"type": "string"},
				"description": "A text that no other request has. Sent again with it, the request is not carried out again: the answer is that of the first time."})
		}
	}
	d.describeStream(paths)
	return json.MarshalIndent(object{
		"openapi": "3.1.0",
		"info": object{"title": "sweepd", "version": "1",
			"description": "What commands of sweepd do, on a running agent. It answers to its own device (loopback), and to phones that were paired. Unknown numbers are null; times are RFC 3339 in UTC."},
		"servers": []object{{"url": DefaultURL}},
		"paths":   paths,
		"components": object{
			"schemas": d.schemas,
			"securitySchemes": object{"right": object{"type": "apiKey", "in": "header", "name": tokenHeader,
				"description": "The content of the file " + tokenName + " in the folder of the data, which the agent's own user can read, root, and the group of the data."}},
		},
	}, "", " ")
}

// describeStream says what the data of the messages of the stream of events is; OpenAPI 3.1
// has no word for it.
func (d *description) describeStream(paths object) {
	of := object{}
	for name, t := range map[string]reflect.Type{"begin": reflect.TypeFor[Beginning](), "event": reflect.TypeFor[EventMessage](), "glance": reflect.TypeFor[testday.Glance](), "day": reflect.TypeFor[testday.HandsOff]()} {
		of[name] = d.schema(t)
	}
	stream := paths[prefix+"/events"].(object)["get"].(object)["responses"].(object)["200"].(object)["content"].(object)[eventsType].(object)
	stream["schema"] = object{"type": "string"}
	stream["x-messages"] = of
}

// description gathers the schemas of named types.
type description struct{ schemas object }

func (d *description) operation(about testday.About, request, answer any, zoned bool) object {
	o := object{"summary": about.Summary, "operationId": operationID(about), "responses": object{
		"200":     d.response(about, answer),
		"default": object{"description": "Why it was not done.", "content": object{problemType: object{"schema": d.schema(reflect.TypeFor[problem]())}}},
	}}
	if answer == nil && about.Gives == "" {
		o["responses"].(object)["204"] = object{"description": "Done."}
		delete(o["responses"].(object), "200")
	}
	if about.Needs == testday.NeedsRight {
		o["security"] = []object{{"right": []string{}}}
	}
	inURL := about.Method == http.MethodGet || about.Takes != ""
	parameters := d.parameters(about, request, inURL, zoned)
	if len(parameters) > 0 {
		o["parameters"] = parameters
	}
	switch {
	case about.Takes != "":
		o["requestBody"] = object{"required": true, "description": "Bytes of the type " + about.Takes + ".", "content": object{octets: object{}}}
	case !inURL:
		body := d.structure(reflect.TypeOf(request).Elem())
		delete(body, "required") // what is left out says nothing
		o["requestBody"] = object{"content": jsonOf(body)}
	}
	return o
}

func operationID(about testday.About) string {
	words := strings.FieldsFunc(strings.ToLower(about.Method)+about.Path, func(r rune) bool { return strings.ContainsRune("/{}.", r) })
	return strings.Join(words, "_")
}

func jsonOf(schema object) object { return object{"application/json": object{"schema": schema}} }

func (d *description) response(about testday.About, answer any) object {
	r := object{"description": "The answer."}
	if about.Gives != "" {
		kind, _, _ := strings.Cut(about.Gives, ";")
		r["content"] = object{kind: object{}}
		return r
	}
	if answer == nil {
		return r
	}
	r["content"] = jsonOf(d.schema(reflect.TypeOf(answer).Elem()))
	r["headers"] = object{damageHeader: object{"description": "What of the data is damaged and was left out, as a URL's query has texts.", "schema": object{"type": "string"}}}
	return r
}

// parameters are the fields of a request that are in the URL.
func (d *description) parameters(about testday.About, request any, all, zoned bool) []object {
	inPath := pathFields(about.Path)
	var list []object
	walkFields(reflect.ValueOf(request).Elem(), func(name string, v reflect.Value) {
		p := object{"name": name, "in": "query", "schema": bare(v.Type())}
		switch {
		case slices.Contains(inPath, name):
			p["in"], p["required"] = "path", true
		case !all:
			return
		}
		if slices.ContainsFunc(list, func(o object) bool { return o["name"] == name }) {
			return
		}
		list = append(list, p)
	})
	for _, name := range inPath {
		if !slices.ContainsFunc(list, func(o object) bool { return o["name"] == name }) {
			list = append(list, object{"name": name, "in": "path", "required": true, "schema": object{"type": "string"}})
		}
	}
	if all && zoned {
		list = append(list, object{"name": zoneParameter, "in": "query", "schema": object{"type": "string"},
			"description": "The time zone of days and times that are given: a name such as Europe/Oslo, or an offset such as +02:00; the agent's unless given."})
	}
	return list
}

// bare is the schema of a plain type.
func bare(t reflect.Type) object {
	switch t.Kind() {
	case reflect.Pointer:
		return bare(t.Elem())
	case reflect.Slice:
		return object{"type": "array", "items": bare(t.Elem())}
	case reflect.Bool:
		return object{"type": "boolean"}
	case reflect.Float64:
		return object{"type": "number"}
	case reflect.String:
		return object{"type": "string"}
	}
	return object{"type": "integer"}
}

// told are the schemas of types that write their JSON themselves.
var told = map[reflect.Type]object{
	reflect.TypeFor[run.Timestamp]():      {"type": []string{"string", "null"}, "format": "date-time"},
	reflect.TypeFor[analysis.Number]():    {"type": []string{"number", "null"}},
	reflect.TypeFor[run.Variant]():        {"type": "object", "additionalProperties": object{"type": "string"}},
	reflect.TypeFor[json.RawMessage]():    {},
	reflect.TypeFor[time.Duration]():      {"type": "integer", "description": "ns"},
	reflect.TypeFor[run.Setting]():        settingSchema,
	reflect.TypeFor[run.SourcedSetting](): settingSchema,
}

var settingSchema = object{"type": "object", "required": []string{"watts", "name", "source"}, "properties": object{
	"watts": object{"type": []string{"number", "null"}}, "name": object{"type": "string"}, "source": object{"type": "string"},
}}

// schema describes a type: named structs once, by reference.
func (d *description) schema(t reflect.Type) object {
	if s, ok := told[t]; ok {
		return s
	}
	switch {
	case t.Kind() != reflect.Pointer && t.Implements(reflect.TypeFor[encoding.TextMarshaler]()):
		return object{"type": "string"}
	case t.Kind() == reflect.Pointer:
		return orNull(d.schema(t.Elem()))
	case t.Kind() == reflect.Slice:
		return object{"type": []string{"array", "null"}, "items": d.schema(t.Elem())}
	case t.Kind() == reflect.Map:
		return object{"type": []string{"object", "null"}, "additionalProperties": d.schema(t.Elem())}
	case t.Kind() == reflect.Interface:
		return object{}
	case t.Kind() != reflect.Struct:
		return bare(t)
	case t.Name() == "":
		return d.structure(t)
	}
	name := schemaName(t)
	if _, done := d.schemas[name]; !done {
		d.schemas[name] = object{} // it may hold itself
		d.schemas[name] = d.structure(t)
	}
	return object{"$ref": "#/components/schemas/" + name}
}

func schemaName(t reflect.Type) string { return path.Base(t.PkgPath()) + "." + t.Name() }

func orNull(s object) object {
	if kind, ok := s["type"].(string); ok {
		s = maps.Clone(s)
		s["type"] = []string{kind, "null"}
		return s
	}
	if _, already := s["type"].([]string); already {
		return s
	}
	return object{"anyOf": []object{s, {"type": "null"}}}
}

// structure describes the fields of a struct as encoding/json has them: of two with one
// name the one that is less deep.
func (d *description) structure(t reflect.Type) object {
	properties, required, depths := object{}, []string{}, map[string]int{}
	var walk func(t reflect.Type, depth int)
	walk = func(t reflect.Type, depth int) {
		for i := range t.NumField() {
			f := t.Field(i)
			name, options, _ := strings.Cut(f.Tag.Get("json"), ",")
			if f.Anonymous && name == "" {
				inner := f.Type
				if inner.Kind() == reflect.Pointer {
					inner = inner.Elem()
				}
				walk(inner, depth+1)
				continue
			}
			if !f.IsExported() || name == "-" {
				continue
			}
			if name == "" {
				name = f.Name
			}
			if at, taken := depths[name]; taken && at <= depth {
				continue
			}
			depths[name] = depth
			properties[name] = d.schema(f.Type)
			required = slices.DeleteFunc(required, func(r string) bool { return r == name })
			if !strings.Contains(options, "omit") {
				required = append(required, name)
			}
		}
	}
	walk(t, 0)
	slices.Sort(required)
	s := object{"type": "object", "properties": properties}
	if len(required) > 0 {
		s["required"] = required
	}
	return s
}

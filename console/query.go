package console

import (
	"fmt"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"sweepd/run"
)

// zoneParameter is what every operation may be asked with beside its own fields.
const zoneParameter = "zone"

// walkFields calls f for the fields of a request, those of embedded structs included, by
// their names in JSON.
func walkFields(v reflect.Value, f func(name string, v reflect.Value)) {
	for i := range v.NumField() {
		field := v.Type().Field(i)
		name, _, _ := strings.Cut(field.Tag.Get("json"), ",")
		switch {
		case field.Anonymous && name == "":
			walkFields(v.Field(i), f)
		case field.IsExported() && name != "-":
			f(name, v.Field(i))
		}
	}
}

// encodeQuery writes a request, a pointer to a struct, as the parameters of a URL. Zero
// fields are left out.
func encodeQuery(request any) url.Values {
	q := url.Values{}
	walkFields(reflect.ValueOf(request).Elem(), func(name string, v reflect.Value) {
		if v.IsZero() {
			return
		}
		if v.Kind() == reflect.Slice {
			for i := range v.Len() {
				q.Add(name, v.Index(i).String())
			}
			return
		}
		q.Set(name, fmt.Sprint(reflect.Indirect(v).Interface()))
	})
	return q
}

// decodeQuery reads what encodeQuery wrote, and refuses what the request does not have.
func decodeQuery(q url.Values, request any) (err error) {
	names := []string{zoneParameter}
	walkFields(reflect.ValueOf(request).Elem(), func(name string, v reflect.Value) {
		names = append(names, name)
		if texts := q[name]; len(texts) > 0 && err == nil {
			err = setField(name, v, texts)
		}
	})
	for name := range q {
		if !slices.Contains(names, name) && err == nil {
			err = fmt.Errorf("there is no parameter %q", run.Shorten(name))
			if near := run.Near(name, names); near != "" {
				err = fmt.Errorf("%w: did you mean %s?", err, near)
			}
		}
	}
	return err
}

func setField(name string, v reflect.Value, texts []string) error {
	if v.Kind() == reflect.Slice {
		v.Set(reflect.ValueOf(texts).Convert(v.Type()))
		return nil
	}
	if len(texts) > 1 {
		return fmt.Errorf("%s is given %d times: give it once", name, len(texts))
	}
	if v.Kind() == reflect.Pointer {
		v.Set(reflect.New(v.Type().Elem()))
		v = v.Elem()
	}
	var err error
	want := "text"
	switch v.Kind() {
	case reflect.String:
		v.SetString(texts[0])
	case reflect.Bool:
		var b bool
		b, err = strconv.ParseBool(texts[0])
		v.SetBool(b)
		want = "true or false"
	case reflect.Int, reflect.Int64:
		var n int64
		n, err = strconv.ParseInt(texts[0], 10, 64)
		v.SetInt(n)
		want = "a whole number"
	case reflect.Uint64:
		var n uint64
		n, err = strconv.ParseUint(texts[0], 10, 64)
		v.SetUint(n)
		want = "a whole number from 0"
	case reflect.Float64:
		var n float64
		n, err = run.ParseNumber(texts[0])
		v.SetFloat(n)
		want = "a number"
	default:
		return fmt.Errorf("%s cannot be given in a URL", name)
	}
	if err != nil {
		return fmt.Errorf("%s %q: want %s", name, run.Shorten(texts[0]), want)
	}
	return nil
}

package db

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// asEverCanonical is the code that made the digests which stand in stores.
func asEverCanonical(t rapid.TB, v any) []byte {
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	var plain any
	if err := json.Unmarshal(text, &plain); err != nil {
		t.Fatal(err)
	}
	var zero func(v any) any
	zero = func(v any) any {
		switch v := v.(type) {
		case map[string]any:
			for k := range v {
				v[k] = zero(v[k])
			}
		case []any:
			for i := range v {
				v[i] = zero(v[i])
			}
		case float64:
			return v + 0
		}
		return v
	}
	var out bytes.Buffer
	enc := json.NewEncoder(&out)
	enc.SetEscapeHTML(false)
	if err := enc.Encode(zero(plain)); err != nil {
		t.Fatal(err)
	}
	return bytes.TrimRight(out.Bytes(), "\n")
}

// The line that is hashed is, byte for byte, the one of before the library
// came: for every letter, for numbers of every size, for trees of both.
func TestCanonicalJSONIsAsEver(t *testing.T) {
	check := func(t rapid.TB, v any) {
		t.Helper()
		got, err := canonicalJSON(v)
		if want := asEverCanonical(t, v); err != nil || !bytes.Equal(got, want) {
			t.Fatalf("%.200q, %v; it was %.200q", got, err, want)
		}
	}
	var letters strings.Builder
	for c := range rune(0x11000) {
		letters.WriteRune(c) // halves of pairs come out as U+FFFD
	}
	check(t, map[string]any{"k": letters.String(), "invalid": "a\xff\xc0b", "<&>": "\u2028\u2029\\u2028"})
	check(t, []float64{0, math.Copysign(0, -1), 1e21, 1e20, 999999999999999868928, 1e-6, 1e-7, 9.5e-7, 5e-324, math.MaxFloat64, 1 << 53, 0.1 + 0.2})
	value := rapid.OneOf(rapid.Float64Range(-1e300, 1e300).AsAny(), rapid.Float64Range(-1, 1).AsAny(), rapid.String().AsAny(),
		rapid.Bool().AsAny(), rapid.Int64().AsAny(), rapid.Just[any](nil),
		rapid.MapOf(rapid.StringMatching(`[a-zA-Z_0-9é]*`), rapid.Float64Range(-1e9, 1e9)).AsAny(),
		rapid.SliceOf(rapid.String()).AsAny())
	rapid.Check(t, func(t *rapid.T) {
		check(t, map[string]any{"a": value.Draw(t, "a"), "b": []any{value.Draw(t, "b"), value.Draw(t, "c")}})
	})
}

// The example of RFC 8785, 3.2.2 to 3.2.4 (from memory).
func TestCanonicalJSONIsThatOfRFC8785(t *testing.T) {
	const in = `{
	  "numbers": [333333333.33333329, 1E30, 4.50, 2e-3, 0.000000000000000000000000001],
	  "string": "\u20ac$\u000F\u000aA'\u0042\u0022\u005c\\\"\/",
	  "literals": [null, true, false]
	}`
	const want = `{"literals":[null,true,false],"numbers":[333333333.3333333,1e+30,4.5,0.002,1e-27],"string":"€$\u000f\nA'B\"\\\\\"/"}`
	if got, err := canonicalJSON(json.RawMessage(in)); err != nil || string(got) != want {
		t.Errorf("%s, %v\nwant %s", got, err, want)
	}
}

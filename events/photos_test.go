package events

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
)

// TestPhotosOfEveryPayload finds the members for photos in each type of payload, so
// that a new one cannot be forgotten.
func TestPhotosOfEveryPayload(t *testing.T) {
	digest := strings.Repeat("ab", 32)
	naming := 0
	for _, kind := range Types() {
		payload := NewPayload(kind)
		value := reflect.ValueOf(payload).Elem()
		want := ""
		for i := range value.NumField() {
			name, _, _ := strings.Cut(value.Type().Field(i).Tag.Get("json"), ",")
			switch name {
			case "photos":
				value.Field(i).Set(reflect.ValueOf([]string{digest, digest}))
				want = fmt.Sprint([]string{digest, digest})
			case "photo":
				value.Field(i).SetString(digest)
				want = fmt.Sprint([]string{digest})
			}
		}
		if got := PhotosOf(payload); want == "" && got != nil || want != "" && fmt.Sprint(got) != want {
			t.Errorf("%s: photos %v, want %s", kind, got, want)
		}
		if want != "" {
			naming++
		}
	}
	if naming < 7 {
		t.Errorf("%d types of events name photos", naming)
	}
}

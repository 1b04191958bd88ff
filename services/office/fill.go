package office

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"daysheet/services/wording"
)

// fillIn writes a payload into the values of a form, as a person would have typed it.
func fillIn(values url.Values, fields []field, payload any, format wording.Format) error {
	raw, err := json.Marshal(payload)
	if err != nil {
		return fmt.Errorf("fill a form in: %w", err)
	}
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	var members map[string]any
	if err := d.Decode(&members); err != nil {
		return fmt.Errorf("fill a form in: %w", err)
	}
	fillMembers(values, fields, "", members, format)
	return nil
}

func fillMembers(values url.Values, fields []field, prefix string, members map[string]any, format wording.Format) {
	for _, d := range fields {
		control := prefix + d.name
		switch value := members[d.name].(type) {
		case string:
			values.Set(control, value)
		case bool:
			if value {
				values.Set(control, "on")
			}
		case json.Number:
			if n, err := value.Int64(); err == nil {
				values.Set(control, typedNumber(d, n, format))
			}
		case map[string]any:
			fillMembers(values, d.inner, control+".", value, format)
		case []any:
			fillList(values, d, control, value, format)
		}
	}
}

func fillList(values url.Values, d field, control string, items []any, format wording.Format) {
	var numbers []string
	for i, item := range items {
		switch item := item.(type) {
		case map[string]any:
			fillMembers(values, d.inner, control+"."+strconv.Itoa(i)+".", item, format)
		case json.Number:
			numbers = append(numbers, item.String())
		case string:
			values.Add(control, item)
		}
	}
	if numbers != nil {
		values.Set(control, strings.Join(numbers, " "))
	}
}

// typedNumber writes an amount as a person types it.
func typedNumber(d field, n int64, format wording.Format) string {
	if d.kind == kindHours {
		return format.Hours(n)
	}
	return format.Typed(n, d.scale)
}

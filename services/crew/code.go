package crew

import (
	"fmt"
	"html/template"
	"strings"

	qr "github.com/piglig/go-qr"
)

// quietZone is the empty margin around a code in modules (ISO/IEC 18004 section 9.1).
const quietZone = 4

// drawCode returns a QR code as a drawing that is called so. It is black on white in every colour
// scheme, because readers are built for that.
func drawCode(text, called string) (template.HTML, error) {
	code, err := qr.EncodeText(text, qr.Medium)
	if err != nil {
		return "", fmt.Errorf("make QR code: %w", err)
	}
	size := code.Size()
	var dark strings.Builder
	for y := range size {
		for x := 0; x < size; x++ {
			run := 0
			for x+run < size && code.Module(x+run, y) {
				run++
			}
			if run > 0 {
				fmt.Fprintf(&dark, "M%d %dh%dv1h-%dz", x+quietZone, y+quietZone, run, run)
				x += run
			}
		}
	}
	// Nothing but numbers goes into the drawing, and what it is called is escaped.
	return template.HTML(fmt.Sprintf(`<svg class="code" width="264" height="264" viewBox="0 0 %[1]d %[1]d" role="img" `+
		`aria-label="%[3]s" shape-rendering="crispEdges">`+
		`<rect width="%[1]d" height="%[1]d" fill="#fff"/><path fill="#000" d="%[2]s"/></svg>`,
		size+2*quietZone, dark.String(), template.HTMLEscapeString(called))), nil
}

package main

import "regexp"

// position finds the position that an answer is valid for, in its text and in
// the addresses that it names.
var position = regexp.MustCompile(`"as_of":\d+,|as_of=\d+\\u0026|&?as_of=\d+`)

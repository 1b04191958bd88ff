package main

/*
#cgo LDFLAGS: -ldl
#include <dlfcn.h>
#include <stdlib.h>

// What is used of the library's interface, by the names of its symbols.
typedef struct {
	void **(*chdb_connect)(int, char **);
	void *(*chdb_query_n)(void *, const char *, size_t, const char *, size_t);
	void *(*chdb_stream_query_n)(void *, const char *, size_t, const char *, size_t);
	void *(*chdb_stream_fetch_result)(void *, void *);
	void (*chdb_stream_cancel_query)(void *, void *);
	const char *(*chdb_result_buffer)(void *);
	size_t (*chdb_result_length)(void *);
	const char *(*chdb_result_error)(void *);
	void (*chdb_destroy_query_result)(void *);
	void (*chdb_set_signal_handlers_enabled)(int);
} library;

#define FIND(name) if (!(*(void **)&l->name = dlsym(handle, #name))) return dlerror()

// open_library returns what is wrong, or NULL.
static const char *open_library(const char *path, library *l) {
	void *handle = dlopen(path, RTLD_NOW | RTLD_LOCAL);
	if (!handle) return dlerror();
	FIND(chdb_connect);
	FIND(chdb_query_n);
	FIND(chdb_stream_query_n);
	FIND(chdb_stream_fetch_result);
	FIND(chdb_stream_cancel_query);
	FIND(chdb_result_buffer);
	FIND(chdb_result_length);
	FIND(chdb_result_error);
	FIND(chdb_destroy_query_result);
	FIND(chdb_set_signal_handlers_enabled);
	return NULL;
}

// open_engine returns the connection, or NULL. The library's own handlers of
// signals would keep a process that has crashed for minutes.
static void **open_engine(library *l, char *path) {
	char *arguments[] = {"clickhouse", path};
	l->chdb_set_signal_handlers_enabled(0);
	return l->chdb_connect(2, arguments);
}

static void *query(library *l, void **c, const char *text, size_t size, const char *format, size_t format_size) {
	return l->chdb_query_n(*c, text, size, format, format_size);
}
static void *begin(library *l, void **c, const char *text, size_t size, const char *format, size_t format_size) {
	return l->chdb_stream_query_n(*c, text, size, format, format_size);
}
static void *fetch(library *l, void **c, void *stream) { return l->chdb_stream_fetch_result(*c, stream); }
static void cancel(library *l, void **c, void *stream) { l->chdb_stream_cancel_query(*c, stream); }
static const char *buffer(library *l, void *result) { return l->chdb_result_buffer(result); }
static size_t length(library *l, void *result) { return l->chdb_result_length(result); }
static const char *error(library *l, void *result) { return l->chdb_result_error(result); }
static void destroy(library *l, void *result) { l->chdb_destroy_query_result(result); }
*/
import "C"

import (
	"errors"
	"fmt"
	"regexp"
	"runtime"
	"unsafe"
)

// engine is a connection to the ClickHouse in this process. It does one thing at
// a time; several work side by side, each with a database and settings of its own.
type engine struct {
	library    C.library
	connection *unsafe.Pointer
}

// openEngines loads the library and makes so many connections to the data in the
// folder, which is made where it is missing. A process has one folder.
func openEngines(path, folder string, many int) ([]*engine, error) {
	var library C.library
	file := C.CString(path)
	defer C.free(unsafe.Pointer(file))
	if wrong := C.open_library(file, &library); wrong != nil {
		return nil, fmt.Errorf("load library: %s", C.GoString(wrong))
	}
	argument := C.CString("--path=" + folder)
	defer C.free(unsafe.Pointer(argument))
	engines := make([]*engine, many)
	for i := range engines {
		engines[i] = &engine{library: library, connection: C.open_engine(&library, argument)}
		if engines[i].connection == nil {
			return nil, fmt.Errorf("open the data in %s: the engine gives no connection", folder)
		}
	}
	return engines, nil
}

// exception is what the engine says of a statement that it does not do.
type exception struct {
	code string // of ClickHouse, a number
	text string
}

func (e *exception) Error() string { return e.text }

var codePattern = regexp.MustCompile(`^Code: (\d+)\.`)

// failure returns the exception in a result, or nil.
func (e *engine) failure(result unsafe.Pointer) error {
	if result == nil {
		return errors.New("the engine gives no result")
	}
	text := C.error(&e.library, result)
	if text == nil {
		return nil
	}
	said := &exception{code: "1002", text: C.GoString(text)} // 1002: UNKNOWN_EXCEPTION
	if found := codePattern.FindStringSubmatch(said.text); found != nil {
		said.code = found[1]
	}
	return said
}

func (e *engine) bytes(result unsafe.Pointer) []byte {
	return C.GoBytes(unsafe.Pointer(C.buffer(&e.library, result)), C.int(C.length(&e.library, result)))
}

func (e *engine) destroy(result unsafe.Pointer) {
	if result != nil {
		C.destroy(&e.library, result)
	}
}

// query runs a statement of any kind and returns its answer as a whole.
func (e *engine) query(statement, format string) ([]byte, error) {
	text, name := C.CString(statement), C.CString(format)
	defer C.free(unsafe.Pointer(text))
	defer C.free(unsafe.Pointer(name))
	result := C.query(&e.library, e.connection, text, C.size_t(len(statement)), name, C.size_t(len(format)))
	defer e.destroy(result)
	if err := e.failure(result); err != nil {
		return nil, err
	}
	return e.bytes(result), nil
}

// stream runs a SELECT and gives its answer to take piece by piece, until take
// returns an error.
func (e *engine) stream(statement, format string, take func([]byte) error) error {
	runtime.LockOSThread() // the engine may keep something of a stream with the thread
	defer runtime.UnlockOSThread()
	text, name := C.CString(statement), C.CString(format)
	defer C.free(unsafe.Pointer(text))
	defer C.free(unsafe.Pointer(name))
	stream := C.begin(&e.library, e.connection, text, C.size_t(len(statement)), name, C.size_t(len(format)))
	defer e.destroy(stream)
	if err := e.failure(stream); err != nil {
		return err
	}
	for {
		piece, err := e.fetch(stream)
		if err != nil || len(piece) == 0 {
			return err
		}
		if err := take(piece); err != nil {
			C.cancel(&e.library, e.connection, stream)
			return err
		}
	}
}

// fetch returns the next piece of a stream; none is its end.
func (e *engine) fetch(stream unsafe.Pointer) ([]byte, error) {
	piece := C.fetch(&e.library, e.connection, stream)
	defer e.destroy(piece)
	if err := e.failure(piece); err != nil {
		return nil, err
	}
	return e.bytes(piece), nil
}

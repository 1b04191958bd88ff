package main

import (
	"bytes"
	"debug/elf"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"syscall"
	"time"
)

// A program asks for the time without the kernel's help: by code and data that the kernel
// lays into its memory (the vDSO). The harness replaces that code in the memory of the one
// program, which is the real one and knows nothing of it, by code that asks the kernel and
// adds an offset. The clock of the machine and of everything else stays as it is, and so
// does the program's monotonic clock, as when somebody sets a clock.

// Codes of an x86-64 machine. Each function ends with the distance, from the end of its
// instruction that reads it, to the offset in seconds.
var (
	clockGettime = []byte{
		0xb8, 0xe4, 0, 0, 0, // mov  eax, 228 (clock_gettime)
		0x0f, 0x05, //          syscall
		0x85, 0xff, //          test edi, edi: which clock
		0x74, 0x05, //          jz   to the load: CLOCK_REALTIME
		0x83, 0xff, 0x05, //    cmp  edi, 5
		0x75, 0x0a, //          jne  to the end: neither, nor CLOCK_REALTIME_COARSE
		0x48, 0x8b, 0x0d, // mov rcx, [rip+distance]
	}
	clockGettimeEnd = []byte{
		0x48, 0x01, 0x0e, // add [rsi], rcx
		0xc3, //             ret
	}
	gettimeofday = []byte{
		0xb8, 0x60, 0, 0, 0, // mov  eax, 96 (gettimeofday)
		0x0f, 0x05, //          syscall
		0x48, 0x85, 0xff, //    test rdi, rdi
		0x74, 0x0a, //          jz   to the end
		0x48, 0x8b, 0x0d, // mov rcx, [rip+distance]
	}
	gettimeofdayEnd = []byte{
		0x48, 0x01, 0x0f, // add [rdi], rcx
		0xc3, //             ret
	}
)

// shiftedClock is the clock of a program that was started by [startShifted].
type shiftedClock struct {
	memory string // file
	at     int64  // of the offset
}

// startShifted starts a program whose clock can be set. The kernel stops it before its
// first instruction, so that nothing runs in the code that is replaced.
func startShifted(cmd *exec.Cmd) (*shiftedClock, error) {
	if runtime.GOARCH != "amd64" {
		return nil, fmt.Errorf("the clock of a program can be set on amd64 alone, not on %s", runtime.GOARCH)
	}
	runtime.LockOSThread() // who traces is a thread
	defer runtime.UnlockOSThread()
	cmd.SysProcAttr = &syscall.SysProcAttr{Ptrace: true}
	if err := cmd.Start(); err != nil {
		return nil, fmt.Errorf("start server: %w", err)
	}
	pid := cmd.Process.Pid
	var status syscall.WaitStatus
	if _, err := syscall.Wait4(pid, &status, 0, nil); err != nil || !status.Stopped() {
		return nil, errors.Join(fmt.Errorf("stop at the first instruction: status %v", status), err, cmd.Process.Kill())
	}
	clock, err := replaceClock(pid)
	return clock, errors.Join(err, syscall.PtraceDetach(pid))
}

// replaceClock puts the code and an offset of 0 into the memory of a stopped program.
func replaceClock(pid int) (*shiftedClock, error) {
	c := &shiftedClock{memory: fmt.Sprintf("/proc/%d/mem", pid)}
	from, until, err := vdsoOf(pid)
	if err != nil {
		return nil, err
	}
	memory, err := os.Open(c.memory)
	if err != nil {
		return nil, err
	}
	defer memory.Close()
	image := make([]byte, until-from)
	if _, err := io.ReadFull(io.NewSectionReader(memory, from, until-from), image); err != nil {
		return nil, fmt.Errorf("read the code of the clock: %w", err)
	}
	file, err := elf.NewFile(bytes.NewReader(image))
	if err != nil {
		return nil, fmt.Errorf("read the code of the clock: %w", err)
	}
	symbols, err := file.DynamicSymbols()
	if err != nil {
		return nil, fmt.Errorf("read the code of the clock: %w", err)
	}
	places := map[string]elf.Symbol{}
	for _, s := range symbols {
		places[s.Name] = s
	}
	get, day := places["__vdso_clock_gettime"], places["__vdso_gettimeofday"]
	if get.Size < 128 || day.Size < 64 {
		return nil, fmt.Errorf("the code of the clock has no room for another: %d and %d bytes", get.Size, day.Size)
	}
	c.at = (from + int64(get.Value) + 64 + 7) &^ 7 // behind the code
	if err := c.write(c.at, make([]byte, 8)); err != nil {
		return nil, err
	}
	for _, code := range []struct {
		at         elf.Symbol
		begin, end []byte
	}{{get, clockGettime, clockGettimeEnd}, {day, gettimeofday, gettimeofdayEnd}} {
		begins := from + int64(code.at.Value)
		distance := c.at - (begins + int64(len(code.begin)) + 4)
		whole := binary.LittleEndian.AppendUint32(bytes.Clone(code.begin), uint32(int32(distance)))
		if err := c.write(begins, append(whole, code.end...)); err != nil {
			return nil, err
		}
	}
	return c, nil
}

// vdsoOf returns where the kernel has laid its code into a program.
func vdsoOf(pid int) (from, until int64, err error) {
	maps, err := os.ReadFile(fmt.Sprintf("/proc/%d/maps", pid))
	if err != nil {
		return 0, 0, err
	}
	for line := range strings.Lines(string(maps)) {
		if strings.Contains(line, "[vdso]") {
			_, err := fmt.Sscanf(line, "%x-%x", &from, &until)
			return from, until, err
		}
	}
	return 0, 0, errors.New("the program has no code of the kernel's for the clock")
}

func (c *shiftedClock) write(at int64, content []byte) error {
	memory, err := os.OpenFile(c.memory, os.O_WRONLY, 0)
	if err != nil {
		return fmt.Errorf("set the clock: %w", err)
	}
	_, err = memory.WriteAt(content, at)
	if err := errors.Join(err, memory.Close()); err != nil {
		return fmt.Errorf("set the clock: %w", err)
	}
	return nil
}

// set sets the program's clock to the machine's and so much more.
func (c *shiftedClock) set(ahead time.Duration) error {
	return c.write(c.at, binary.LittleEndian.AppendUint64(nil, uint64(int64(ahead/time.Second))))
}

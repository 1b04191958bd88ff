package rates

import (
	"runtime"
	"sync"
	"sync/atomic"
)

// inBlocks calls work for each block of n, numbered from 0, on as many processors as
// there are. Where blocks begin depends on the data alone, and no block reads what
// another writes: so a fit is the same to the last bit on any machine.
func inBlocks(n int, work func(block int)) {
	if n == 1 {
		work(0)
		return
	}
	var next atomic.Int32
	take := func() {
		for b := int(next.Add(1)) - 1; b < n; b = int(next.Add(1)) - 1 {
			work(b)
		}
	}
	var others sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) - 1 {
		others.Go(take)
	}
	take()
	others.Wait()
}

// blockRows is how many rows make a block: enough to be worth another processor.
const blockRows = 8192

// inRows does it for n rows, lo to hi-1 at a time.
func inRows(n int, work func(block, lo, hi int)) {
	inBlocks(blocksOf(n), func(b int) { work(b, b*blockRows, min((b+1)*blockRows, n)) })
}

// blocksOf returns how many blocks n rows are.
func blocksOf(n int) int { return (n + blockRows - 1) / blockRows }

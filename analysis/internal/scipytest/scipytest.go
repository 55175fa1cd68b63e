// Package scipytest lets tests ask SciPy, in Debian's Python, for the figures
// that they are held against.
package scipytest

import (
	"bufio"
	_ "embed"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"sync"
	"testing"
)

const python = "/usr/bin/python3"

//go:embed worker.py
var workerPy string

// worker is a Python that runs one script after the other: loading SciPy takes
// longer than most of them. It ends with the test's process, when its standard
// input does.
type worker struct {
	mu  sync.Mutex
	in  io.Writer
	out *bufio.Reader
}

var start = sync.OnceValues(func() (*worker, error) {
	cmd := exec.Command(python, "-c", workerPy)
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	w := &worker{in: in, out: bufio.NewReader(out)}
	_, err = w.answer()
	return w, err
})

// Run runs a script whose np is NumPy, signal, linalg, stats, optimize and
// integrate those of SciPy, x the samples and p the parameters, which go through
// JSON. It returns the numbers that the script hands to answer(). Without SciPy
// the test skips, but never under CI.
func Run(t testing.TB, x []float64, p any, script string) []float64 {
	t.Helper()
	w, err := start()
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatalf("python3-scipy is not installed: %v", err)
		}
		t.Skip("python3-scipy is not installed")
	}
	y, err := w.run(x, p, script)
	if err != nil {
		t.Fatal(err)
	}
	return y
}

func (w *worker) run(x []float64, p any, script string) ([]float64, error) {
	parameters, err := json.Marshal(p)
	if err != nil {
		return nil, err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, part := range [][]byte{[]byte(script), parameters, bytesOf(x)} {
		if err := binary.Write(w.in, binary.LittleEndian, uint64(len(part))); err != nil {
			return nil, err
		}
		if _, err := w.in.Write(part); err != nil {
			return nil, err
		}
	}
	return w.answer()
}

// answer reads a kind, a length in bytes and so many: figures or a complaint.
func (w *worker) answer() ([]float64, error) {
	var head struct{ Complaint, Bytes uint64 }
	if err := binary.Read(w.out, binary.LittleEndian, &head); err != nil {
		return nil, fmt.Errorf("the Python for SciPy has ended: %w", err)
	}
	raw := make([]byte, head.Bytes)
	if _, err := io.ReadFull(w.out, raw); err != nil {
		return nil, err
	}
	if head.Complaint != 0 {
		return nil, errors.New(string(raw))
	}
	y := make([]float64, len(raw)/8)
	for i := range y {
		y[i] = math.Float64frombits(binary.LittleEndian.Uint64(raw[8*i:]))
	}
	return y, nil
}

func bytesOf(x []float64) []byte {
	raw := make([]byte, 0, 8*len(x))
	for _, v := range x {
		raw = binary.LittleEndian.AppendUint64(raw, math.Float64bits(v))
	}
	return raw
}

package main

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"boardproof/testsignals"
)

// needNgspice skips where ngspice is missing, never under CI.
func needNgspice(t *testing.T) {
	t.Helper()
	if _, err := exec.LookPath("ngspice"); err == nil {
		return
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("ngspice is not installed")
	}
	t.Skip("ngspice is not installed")
}

// simulate runs a netlist and hands each row of its raw file to row: the
// sweep's variable first, then the saved vectors, complex ones as two numbers
// each.
func simulate(t *testing.T, netlist string, row func(v []float64)) {
	t.Helper()
	dir := t.TempDir()
	in, raw := filepath.Join(dir, "board.cir"), filepath.Join(dir, "out.raw")
	if err := os.WriteFile(in, []byte(netlist), 0o644); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("ngspice", "-b", "-r", raw, in)
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("ngspice: %v\n%s", err, out)
	}
	f, err := os.Open(raw)
	if err != nil {
		t.Fatalf("ngspice wrote no result: %v", err)
	}
	defer f.Close()
	if err := readRaw(bufio.NewReaderSize(f, 1<<20), row); err != nil {
		t.Fatalf("reading ngspice's result: %v", err)
	}
}

// readRaw reads ngspice's binary raw file: text lines, then rows of float64.
func readRaw(r *bufio.Reader, row func(v []float64)) error {
	width, columns := 1, 0
	for {
		line, err := r.ReadString('\n')
		if err != nil {
			return err
		}
		if strings.HasPrefix(line, "Flags: complex") {
			width = 2
		}
		fmt.Sscanf(line, "No. Variables: %d", &columns)
		if line == "Binary:\n" {
			break
		}
	}
	if columns < 2 {
		return errors.New("it holds no vectors")
	}
	b, v := make([]byte, 8*width*columns), make([]float64, width*columns)
	for {
		if _, err := io.ReadFull(r, b); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return err
		}
		for i := range v {
			v[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
		row(v)
	}
}

// acOf returns ngspice's AC analysis of the outputs of a circuit; sweep is the
// analysis line.
func acOf(t *testing.T, circuit, sweep string) (freqHz []float64, a, b []complex128) {
	t.Helper()
	simulate(t, circuit+".save v(a) v(b)\n"+sweep+"\n.end\n", func(v []float64) {
		freqHz = append(freqHz, v[0])
		a, b = append(a, complex(v[2], v[3])), append(b, complex(v[4], v[5]))
	})
	if len(freqHz) == 0 {
		t.Fatal("ngspice gave no AC analysis")
	}
	return freqHz, a, b
}

// sweepSource writes the signal of s as an expression of time for a B source:
// the formulas of testsignals, which a test holds against the exported file.
// A file or a table as the source would be interpolated by straight lines, and
// each of its points would break ngspice's integration. The signal begins at
// startS.
func sweepSource(s testsignals.Spec, startS float64) string {
	l, rate := testsignals.LayoutOf(s), float64(s.RateHz)
	at := func(frame int) string { return fmt.Sprintf("%.15g", float64(frame)/rate) }
	now := fmt.Sprintf("(time-%.15g)", startS)
	since := func(frame int) string { return "(" + now + "-" + at(frame) + ")" }
	fade := func(x string) string { return fmt.Sprintf("(0.5-0.5*cos(%.15g*max(0,min(1,%s))))", math.Pi, x) }
	amp := func(belowDB float64) float64 { return s.Amplitude() * math.Pow(10, -belowDB/20) }

	grow := testsignals.SweepRate(s)
	low, high := testsignals.SweepFlatBand(s)
	inS, outS, endS := grow*math.Log(low/s.StartHz), grow*math.Log(high/s.StartHz), grow*math.Log(s.StopHz/s.StartHz)
	body := since(l.Body.Start)
	pilots := ""
	for _, f := range testsignals.PilotsHz {
		pilots += fmt.Sprintf("+%.15g*sin(%.15g*%s)", math.Pow(10, -s.PilotBelowDB/20), 2*math.Pi*f, body)
	}
	sweep := fmt.Sprintf("%.15g*%s*%s*(sin(%.15g*exp(%s/%.15g))%s)", testsignals.SweepAmplitude(s),
		fade(fmt.Sprintf("%s/%.15g", body, inS)), fade(fmt.Sprintf("(%.15g-%s)/%.15g", endS, body, endS-outS)),
		2*math.Pi*s.StartHz*grow, body, grow, pilots)
	runIn := fmt.Sprintf("%.15g*%s*%s*sin(%.15g*%s)", amp(testsignals.RunInBelowDB),
		fade(now+"/0.15"), fade("("+at(l.RunIn.End)+"-"+now+")/0.15"), 2*math.Pi*testsignals.RunInHz, now)
	expr := "0"
	part := func(span testsignals.Span, inside string) {
		expr = fmt.Sprintf("(%s < %s ? 0 : (%s < %s ? %s : %s))", now, at(span.Start), now, at(span.End), inside, expr)
	}
	mark := func(m testsignals.Span) {
		x := since(m.Start)
		part(m, fmt.Sprintf("%.15g*(0.5-0.5*cos(%.15g*%s))*sin(%.15g*(300*%s+142500*%s*%s))", amp(testsignals.MarkBelowDB),
			2*math.Pi/0.02, x, 2*math.Pi, x, x, x))
	}
	mark(l.Marks[3])
	mark(l.Marks[2])
	part(l.Body, sweep)
	mark(l.Marks[1])
	mark(l.Marks[0])
	part(l.RunIn, runIn)
	return expr
}

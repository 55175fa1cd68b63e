package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"testing"

	"boardproof/analysis/hunt"
)

// spiceBench is a board between a bench and two amplifiers as one network, in
// which each condition of a hunt is another value of a part. Node 0 is the
// ground of the bench's inputs, pe the building's earth, g the board's ground,
// ya and yb are the grounds of the Y leads at the outputs, a and b what the
// recorder has. Values are of the usual order for leads of some metres (shields
// tens of milliohms), earth leads of an installation (tenths of an ohm), class
// II supplies (nanofarads to earth) and interfaces; common practice, no source.
const spiceBench = `* a board, its bench and two amplifiers
vlap el pe dc 0 ac $vlap
rlap el 0 $rlap
clap el 0 300p
vampa ea pe dc 0 ac $vampa
rampa ea ga 0.15
rya ga ya $rya
cya ga ya $cya
rla ya 0 0.04
rba ya g 0.03
vampb eb pe dc 0 ac $vampb
rampb eb gb 0.2
ryb gb yb $ryb
cyb gb yb $cyb
rlb yb 0 0.035
rbb yb g $rbb
vsup es pe dc 0 ac $vsup
rsup es g $rsup
csup es g $csup
rli g 0 0.06
rpe pe 0 10meg
vfld fld pe dc 0 ac $vfld
ifld 0 fc dc 0 ac $ifld
lfld fc 0 1m
rfld fc 0 1meg
rsrc ni g $rsrc
cfin fld ni $cfin
lin ni n1 2u
kin lin lfld $kin
rn1 n1 g 1meg
e1 d1 g n1 g 1
r1 d1 m1 $rnode1
cf1 fld m1 $cf1
v1 rail1 g dc 0 ac $v1
rps1 rail1 m1 $rps1
e2 d2 g m1 g 1
r2 d2 m2 $rnode2
cf2 fld m2 $cf2
v2 rail2 g dc 0 ac $v2
rps2 rail2 m2 $rps2
e3 d3 g m2 g 1
r3 d3 m3 $rnode3
v3 rail3 g dc 0 ac $v3
rps3 rail3 m3 $rps3
ebuf bo g m3 g $pass
roa bo a1 1k
lpa a1 a2 2u
ria a2 0 10k
esplit so $split bo g 1
rob so b1 1k
lpb b1 b2 2u
kpb lpb lfld $kpb
rib b2 0 10k
vown own 0 dc 0 ac $vown
esa a sa a2 0 1
eoa sa 0 own 0 1
esb b sb b2 0 1
eob sb 0 own 0 0.8
`

// usualParts is the bench as found where a circuit says nothing else: two
// earthed amplifiers, a laptop on its charger, a class II supply, nothing that
// hums.
var usualParts = map[string]string{
	"rlap": "0.3", "rya": "0.02", "cya": "1p", "ryb": "0.02", "cyb": "1p", "rbb": "0.03", "rsup": "1e12", "csup": "1.5n",
	"rsrc": "600", "cfin": "1e-18", "kin": "1e-9", "rnode1": "1k", "cf1": "1e-18", "rps1": "1e15", "rnode2": "1k", "cf2": "1e-18",
	"rps2": "1e15", "rnode3": "1k", "rps3": "1e15", "pass": "1", "split": "g", "kpb": "1e-9",
}

// spiceSources are the network's sources, each of which may have a waveform.
var spiceSources = []string{"vlap", "vampa", "vampb", "vsup", "vfld", "ifld", "v1", "v2", "v3", "vown"}

var spiceDevices = []string{"fuzz", "drive", "delay"}

const open = "1e12"

// under is what a condition changes: parts, and factors on sources.
func under(c hunt.Condition, parts map[string]string) (changed map[string]string, factor map[string]float64) {
	changed, factor = maps.Clone(parts), map[string]float64{}
	set := func(values ...string) {
		for i := 0; i < len(values); i += 2 {
			changed[values[i]] = values[i+1]
		}
	}
	lead := strings.ToLower(c.Subject)
	k := fmt.Sprint(slices.Index(spiceDevices, c.Subject) + 1)
	scaled := func(name string, by float64) {
		var v float64
		fmt.Sscan(parts[name], &v)
		set(name, fmt.Sprint(v*by))
	}
	switch {
	case c.Change == hunt.OutputUnplugged:
		set("ry"+lead, open, "cy"+lead, "80p")
	case c.Change == hunt.OutputIsolated:
		set("ry"+lead, open, "cy"+lead, "1.2n")
	case c.Change == hunt.SupplyOff && c.Subject == "":
		set("rsup", open, "csup", "1p", "pass", "1e-4")
		factor["v1"], factor["v2"], factor["v3"] = 0, 0, 0
	case c.Change == hunt.OnBattery && c.Subject == "":
		set("rsup", open, "csup", "1p")
		factor["v1"], factor["v2"], factor["v3"] = 0, 0, 0
	case c.Change == hunt.SupplyOff, c.Change == hunt.OnBattery:
		factor["v"+k] = 0
	case c.Change == hunt.LaptopOnBattery:
		set("rlap", open)
	case c.Change == hunt.OtherOutlet:
		for _, v := range []string{"vlap", "vampa", "vampb", "vsup"} {
			factor[v] = 0.03
		}
	case c.Change == hunt.InputShorted:
		set("rsrc", "0.1", "kin", "1e-9")
	case c.Change == hunt.DeviceBypassed:
		set("rnode"+k, "1", "cf"+k, "1e-18", "rps"+k, "1e15")
	case c.Change == hunt.BoardTurned:
		scaled("kin", 0.2)
		scaled("kpb", 0.35)
	}
	return changed, factor
}

// transfers lets ngspice find what each source of the network gives at a and b.
func transfers(t *testing.T, parts map[string]string, source string) (freqHz []float64, a, b []complex128) {
	net := spiceBench
	names := slices.Collect(maps.Keys(parts))
	slices.SortFunc(names, func(x, y string) int { return len(y) - len(x) })
	for _, n := range names {
		net = strings.ReplaceAll(net, "$"+n+"\n", parts[n]+"\n")
		net = strings.ReplaceAll(net, "$"+n+" ", parts[n]+" ")
	}
	for _, s := range spiceSources {
		ac := "0"
		if s == source {
			ac = "1"
		}
		net = strings.ReplaceAll(net, "$"+s+"\n", ac+"\n")
	}
	if strings.Contains(net, "$") {
		t.Fatalf("a part has no value:\n%s", net)
	}
	return acOf(t, net, ".ac lin 2400 10 24000")
}

// spicePower is a rectifier in ngspice over the mains' cycle: what it leaves on
// the reservoir, and the current that it draws. half is with one diode.
func spicePower(t *testing.T, half bool) (ripple, current []float64) {
	net := "* bridge\nvm p1 n1 sin(0 14 50)\nrm p1 p 1.5\nd1 p rail diode\nd2 n1 rail diode\nd3 0 p diode\nd4 0 n1 diode\nrg n1 0 1meg\n"
	if half {
		net = "* one diode\nvm m 0 sin(0 14 50)\nrm m p 1.5\nd1 p rail diode\n"
	}
	net += ".model diode d(is=1e-9 n=1.8 rs=0.05)\nc rail 0 1000u ic=11\niload rail 0 dc 0.25\n.save v(rail) i(vm)\n.tran 5u 0.2 0.16 5u uic\n.end\n"
	const steps = 4000
	ripple, current = make([]float64, steps), make([]float64, steps)
	seen := make([]bool, steps)
	simulate(t, net, func(v []float64) {
		if k := int(math.Round((v[0] - 0.18) / 0.02 * steps)); k >= 0 && k < steps {
			ripple[k], current[k], seen[k] = v[1], v[2], true
		}
	})
	for k := range ripple {
		if !seen[k] {
			if k == 0 {
				t.Fatal("ngspice gave no first step")
			}
			ripple[k], current[k] = ripple[k-1], current[k-1]
		}
	}
	return withoutMean(ripple), withoutMean(current)
}

func withoutMean(x []float64) []float64 {
	mean := 0.0
	for _, v := range x {
		mean += v / float64(len(x))
	}
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v - mean
	}
	return out
}

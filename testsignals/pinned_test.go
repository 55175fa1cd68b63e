package testsignals

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"runtime"
	"testing"
)

// pinned are the samples of signals that lie beside kept recordings, as SHA-256
// of the frames rounded to 24 bits, little-endian 32-bit words. They come from
// this package itself, at the revision that first kept recordings: a digest
// that changes means that every recording of before is held against another
// signal than the one that was played. Never change one; what a new field of
// Spec brings gets a line of its own.
var pinned = map[Kind]map[int]string{
	Sweep: {
		44100:  "f791b9868f686d3019e5cb063d8de0fb8879f07d6df88cb2306d870d8df5ad66",
		48000:  "4889eb1abeec68d44a7e065dcc1df6b948cf198a936332912fbb98c732b5465d",
		88200:  "cbd014383e416893b161a92e3e4f84b2f83b54c578cf4aca9e72cc0f656dd6db",
		96000:  "4bc03b0d84bd3c91775f4e917e9dfa0067a624d1e9d99931c6bc5012b7fec42c",
		176400: "800f1138d38841453aa48b25f786606b2d6b471e97bf2a084ea5c143cb499291",
		192000: "9cb31c5bf8cc964a5696aa111b9c56a2a1d75e5fe28a82abaff3e8198725ada1",
	},
	Impulses: {
		44100:  "0c3d5c01cc4c41f659cf5423395d9218d16460e61966a04f0260eea737cb2966",
		48000:  "e32b017a853ab8e10ed310eed3f94581dfc45f20653a5602232b461ce5943c5b",
		88200:  "9085fcdab7c1b52c189a21eb9e3f48c0c5234c1074fb5ea17a5f8a1d70f61a00",
		96000:  "ab1ead2a521cb77bc01a524268fcddbf592b0270e53ad79137c9095ccb64f779",
		176400: "fdcb82e5bd3144c07194029fc8e7b6e46a33fb14a2938b2d2005d47950639d72",
		192000: "ceb8a985586c01cc204aa6669bcdb65ce78f6d5897b0e30a2e702f73ddd3599e",
	},
	Tone: {
		44100:  "a30196e138d058b5be0858086b2a91e19b360fc629b7e5898becb7ce79c69452",
		48000:  "3c6ec9a426d963f523dc65576d5cde51c41b3d02a580f7850b99de36bb6de506",
		88200:  "40988157fa0ae80ff63a7afa0a17f4cc5db4a48628d45c4b1776e502b57894c0",
		96000:  "2914ea08f27280cc87267860aed1ffa72dbbe9f17e64b939d57e6a58033cdf04",
		176400: "9df95a8af0514a9d0127f85f25875fcb956aaa7de9a1aab09fa0949309399a66",
		192000: "bd7b75326ea23bee42ad750b954387c335533e7b64cc760b61269ad94e69437a",
	},
	Silence: {
		44100:  "995b161a518e051a314d5d9ee68742fab3bfd6e0d1458b2e4444a6b0293859c0",
		48000:  "63707b245ae275807fd1c1b40e301992a177f01913e39d9f41ef0d8b409b0a4b",
		88200:  "4effde6f7d4eb039a0588d4c0349cf92b24be8a70e3cef8ab314d6d3988f686f",
		96000:  "911353bcf23e758dd670f4e6daec8cc612ff697a95650b20a0df7cc45e871fef",
		176400: "efaee154705feae140f51d6e5a2b426104ebf4ed1236ea2744d2892e3042387b",
		192000: "d4e2ec9fad35592926e92b0772e6efdb05c15de85c1af658552655d9de6ae702",
	},
}

// playedBefore is a signal as it was before any field was added to Spec.
func playedBefore(kind Kind, rateHz int) Spec {
	s := Spec{Format: "boardproof-signal/1", Kind: kind, RateHz: rateHz, LevelDBFS: -12, LeadS: 0.6, TailS: 0.9}
	switch kind {
	case Sweep:
		s.DurationS, s.StartHz, s.StopHz = 5, 2, 0.49*float64(rateHz)
	case Impulses:
		s.DurationS, s.PeriodS = 16*0.307, 0.307
	case Tone:
		s.DurationS, s.FrequencyHz = 2, 1000
	case Silence:
		s.DurationS = 10
	}
	return s
}

func TestSamplesOfKeptSignalsStay(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("the phase of a sweep is so large that another processor's exponential shows in 24 bits")
	}
	for _, kind := range []Kind{Sweep, Impulses, Tone, Silence} {
		for _, rateHz := range []int{44100, 48000, 88200, 96000, 176400, 192000} {
			sig, err := Generate(playedBefore(kind, rateHz))
			if err != nil {
				t.Fatal(err)
			}
			if got, want := sha256Of24Bits(sig.Samples), pinned[kind][rateHz]; got != want {
				t.Errorf("%s at %d Hz: %s, not %s: recordings of before would be read against another signal", kind, rateHz, got, want)
			}
		}
	}
}

// sha256Of24Bits rounds, so that the last digits of a library's sine do not
// count.
func sha256Of24Bits(samples []float64) string {
	b := make([]byte, 0, 4*len(samples))
	for _, v := range samples {
		b = binary.LittleEndian.AppendUint32(b, uint32(int32(math.Round(v*(1<<23)))))
	}
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

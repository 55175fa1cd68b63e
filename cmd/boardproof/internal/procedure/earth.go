package procedure

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"boardproof/analysis/verdict"
)

// Words of one's own reach the operator as something to do. Those that can
// mean the protective earth of the mains are refused, unless they plainly mean
// the signal's ground or plainly add an earth: a refusal costs a rewording, a
// missing earth costs a life. (Common practice: IEC 60364-4-41 and every
// national code make the earth of a class I appliance part of its protection.)

// ErrEarth is why words are refused.
var ErrEarth = errors.New("that can mean the protective earth, which is never lifted, cut, taped off or bypassed: " +
	"a fault would put the mains on the strings. Isolate the signal instead: \"" + `output isolated=B` + "\" is a signal transformer in the lead; " +
	"for the lift switch of a DI box or an audio isolator, say so")

// clauseEnds are where one clause ends and another begins.
var clauseEnds = regexp.MustCompile(`[.,;:!?()\n]| but | instead | then `)

// noLetters is what stands between words.
var noLetters = regexp.MustCompile(`[^\pL\pN]+`)

var (
	// removing are words by which something is gone or not there.
	removing = words(`lift\w* unlift\w* raise\w* rais\w* float\w* cut\w* snip\w* clip\w* nip\w* sever\w* chop\w* saw\w* fil\w* grind\w* tap\w* wrap\w* ` +
		`cover\w* mask\w* insulat\w* isolat\w* bypass\w* defeat\w* remov\w* disconnect\w* detach\w* unplug\w* unhook\w* unsolder\w* desolder\w* ` +
		`unscrew\w* undo\w* loose\w* open\w* break\w* broke\w* snap\w* bend\w* bent pull\w* yank\w* rip\w* tear\w* took take\w* taking drop\w* ` +
		`kill\w* disabl\w* interrupt\w* omit\w* skip\w* leav\w* left without no not never none off out away free\w* less miss\w* separat\w* ` +
		`decoupl\w* block\w* ditch\w* eliminat\w* dispens\w* lose\w* losing lost rid`)
	// adding are words by which something is joined to the earth.
	adding = words(`add\w* connect\w* join\w* bond\w* strap\w* fit\w* attach\w* same one common together star check\w* earthed grounded`)
	// isEarth are words for the earth; "on the ground" is where a board lies.
	isEarth = words(`earth\w* unearth\w* ground\w* unground\w* gnd grnd pe cpc`)
	// ofMains are words that make any ground the mains'.
	ofMains = words(`mains wall outlet\w* socket\w* adapt[eo]r\w* cheater\w* prong\w* iec inlet\w* protective safety third 3rd pe cpc cord\w* ` +
		`plugs?`)
	// mainsPart are phrases that mean the mains' earth without naming it.
	mainsPart = regexp.MustCompile(`\bcheater|\b(2|two|double) (pin|prong|pole|wire|core|conductor)s?\b|\b(third|3rd) (pin|prong|wire|conductor|contact)\b|` +
		`\b(green (and |)yellow|yellow (and |)green)\b|\b(protective|safety) (conductor|wire|pin|lead)\b|\bsuicide (lead|cord|cable)\b`)
	// mainsFloats are phrases by which what hangs on the mains loses its earth.
	mainsFloats = regexp.MustCompile(`\bfloat\w*\b.*\b(amp|amps|amplifier\w*|mains|laptop|chassis|bench|interface)\b|` +
		`\b(amp|amps|amplifier\w*|mains|laptop|chassis|bench|interface)\b.*\bfloat\w*\b|` +
		`\bmains isolat\w*|\bisolat\w*( \w+){0,4} (mains|chassis)\b|` +
		`\b(lift|cut|disconnect|remov|detach)\w*( \w+){0,3} chassis\b|` +
		`\b(tap|cover|insulat|cut|snip|saw|fil|bend|bent|break|broke|snap|pull|remov|lift|wrap|clip)\w*( \w+){0,4} (pins?|prongs?)\b`)
	// signalPin is a pin that carries no mains.
	signalPin = regexp.MustCompile(`\bpin 1\b|\bxlr\b|\bmidi\b`)
	// signalGround are ways in which the ground of a signal is named.
	signalGround = regexp.MustCompile(`\b(signal|audio|shield|screen|sleeve|xlr|di|isolator)( s|) (ground|earth)( lift\w*|ing|s|)( switch| button|)\b|` +
		`\b(di|isolator)( s| box|) (ground|earth)( lift\w*|)( switch| button|)\b|` +
		`\b(ground|earth)( lift\w*|)( switch| button|)( in| pressed| engaged|)( on| of| at| in)( the| a| an| its| your| each| both|)` +
		`( audio| signal| passive| active| line| transformer| stereo|){0,2} (dis?|di box\w*|isolators?|xlrs?|(signal|audio) (cable|lead|cord|transformer))\b`)
	onTheGround = regexp.MustCompile(`\bon the ground\b`)
	// forbids is a clause that says what never to do.
	forbids = regexp.MustCompile(`\b(never|not|don t|cannot|must not)( be| to be| ever| to|)( lift| cut| tap| bypass| remov| disconnect| defeat| open| isolat| float| insulat)`)
)

// words is an expression for any of the words, each whole.
func words(list string) *regexp.Regexp {
	return regexp.MustCompile(`\b(` + strings.Join(strings.Fields(list), "|") + `)\b`)
}

// CheckEarth returns [ErrEarth] for words that can ask for the protective
// earth to be lifted, cut, taped off or bypassed. devices are the names of the
// board's own, which may be called after the earth if more words tell them from it.
func CheckEarth(text string, devices ...string) error {
	text = strings.ToLower(text)
	for _, d := range devices {
		if d = plainWords(strings.ToLower(d)); strings.Contains(d, " ") && !ofMains.MatchString(d) {
			text = regexp.MustCompile(`\b`+strings.ReplaceAll(d, " ", `\W+`)+`\b`).ReplaceAllString(text, "device")
		}
	}
	whole := plainWords(text)
	for _, clause := range clauseEnds.Split(text, -1) {
		if c := plainWords(clause); !forbids.MatchString(c) && meansEarth(c, whole) {
			return ErrEarth
		}
	}
	return nil
}

func plainWords(text string) string {
	return strings.TrimSpace(noLetters.ReplaceAllString(text, " "))
}

// meansEarth judges one clause; what is done may stand in another one of the
// whole.
func meansEarth(clause, whole string) bool {
	if mainsPart.MatchString(clause) || mainsFloats.MatchString(clause) && !signalPin.MatchString(clause) {
		return true
	}
	if !isEarth.MatchString(clause) {
		return false
	}
	removed := removing.MatchString(whole)
	if ofMains.MatchString(clause) {
		return removed || !adding.MatchString(clause)
	}
	left := signalGround.ReplaceAllString(clause, " ")
	if !removed {
		left = onTheGround.ReplaceAllString(left, " ")
	}
	return isEarth.MatchString(left) && (removed || !adding.MatchString(left))
}

// CheckPlanWords refuses a plan that asks for the protective earth to be lifted.
func CheckPlanWords(plan verdict.Plan) error {
	for _, step := range plan.Steps {
		for _, text := range []string{step.Name, step.State, step.Prompt, step.Caution} {
			if err := CheckEarth(text); err != nil {
				return fmt.Errorf("step %q says %q: %w", step.Name, text, err)
			}
		}
	}
	return nil
}

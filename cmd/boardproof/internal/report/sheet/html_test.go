package sheet

import (
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// pageRead is what a reader of HTML makes of a file.
type pageRead struct {
	text     string
	outside  []string
	elements map[string]int
	data     string
}

func readPage(t *testing.T, file []byte) pageRead {
	t.Helper()
	root, err := html.Parse(strings.NewReader(string(file)))
	if err != nil {
		t.Fatal(err)
	}
	p := pageRead{elements: map[string]int{}}
	var text strings.Builder
	var visit func(n *html.Node)
	visit = func(n *html.Node) {
		if n.Type == html.ElementNode {
			p.elements[n.Data]++
			for _, a := range n.Attr {
				switch {
				case a.Key == "src" || a.Key == "href" || a.Key == "srcset" || a.Key == "action" || strings.HasPrefix(a.Key, "on"):
					p.outside = append(p.outside, n.Data+" "+a.Key+"="+a.Val)
				case strings.Contains(a.Val, "://") && a.Key != "xmlns" && a.Namespace != "xmlns":
					p.outside = append(p.outside, n.Data+" "+a.Key+"="+a.Val)
				}
			}
		}
		if n.Type == html.TextNode {
			switch n.Parent.Data {
			case "script":
				p.data = n.Data
			case "style":
				if strings.Contains(n.Data, "url(") || strings.Contains(n.Data, "@import") {
					p.outside = append(p.outside, n.Data)
				}
			default:
				text.WriteString(n.Data + " ")
			}
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			visit(c)
		}
	}
	visit(root)
	p.text = flat(text.String())
	return p
}

func TestHTMLReadsBack(t *testing.T) {
	for name, s := range samples() {
		for _, kind := range []Kind{Player, Bench} {
			file := mustMake(t, s, options(kind, HTML, ""))
			kept(t, name+" "+string(kind)+".html", file)
			p := readPage(t, file)
			for _, want := range append(told(s), figures[name]...) {
				if !strings.Contains(glued(p.text), glued(want)) {
					t.Errorf("%s, %s: %q is not on the page", name, kind, want)
				}
			}
			if len(p.outside) > 0 {
				t.Errorf("%s, %s: it needs what is outside of it: %v", name, kind, p.outside)
			}
			if p.elements["svg"] != 2 || p.elements["script"] != 1 || p.elements["link"]+p.elements["img"]+p.elements["iframe"] != 0 {
				t.Errorf("%s, %s: its elements are %v", name, kind, p.elements)
			}
			if kind == Bench {
				everyReading(t, glued(p.text), s)
			}
		}
	}
}

// A name is text, whatever it looks like.
func TestHTMLTrustsNoName(t *testing.T) {
	s := sample("A", "B")
	s.Run.BoardAsWas.Label = `<script>alert(1)</script>`
	s.Run.Operator = `</script><img src=x onerror=alert(1)>`
	p := readPage(t, mustMake(t, s, options(Player, HTML, "")))
	if p.elements["script"] != 1 || p.elements["img"] != 0 || !strings.Contains(p.text, s.Run.BoardAsWas.Label) || !strings.Contains(p.text, s.Run.Operator) {
		t.Errorf("elements %v", p.elements)
	}
	if !strings.HasPrefix(p.data, `{"format":"boardproof-sheet/1"`) {
		t.Errorf("what it carries is broken: %.60s", p.data)
	}
}

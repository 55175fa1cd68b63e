package db

import (
	"archive/tar"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

type entry struct {
	head tar.Header
	body []byte
}

func unpack(t testing.TB, archive []byte) (all []entry) {
	t.Helper()
	in := tar.NewReader(bytes.NewReader(archive))
	for {
		h, err := in.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(in)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, entry{*h, body})
	}
}

func pack(t testing.TB, all []entry) []byte {
	t.Helper()
	var out bytes.Buffer
	w := tar.NewWriter(&out)
	for _, e := range all {
		if e.head.Typeflag == tar.TypeReg {
			e.head.Size = int64(len(e.body))
		}
		if err := w.WriteHeader(&e.head); err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.body); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

// withLife changes life.jsonl and makes the manifest fit it.
func withLife(change func(lines []string) []string) func(t *testing.T, all []entry) []entry {
	return func(t *testing.T, all []entry) []entry {
		lines := strings.Split(strings.TrimSuffix(string(all[1].body), "\n"), "\n")
		all[1].body = []byte(strings.Join(change(lines), "\n") + "\n")
		return withManifest(func(m *Manifest) {
			m.Files[0].Bytes, m.Files[0].SHA256 = int64(len(all[1].body)), hexSHA(all[1].body)
		})(t, all)
	}
}

func withManifest(change func(m *Manifest)) func(t *testing.T, all []entry) []entry {
	return func(t *testing.T, all []entry) []entry {
		var m Manifest
		if err := json.Unmarshal(all[0].body, &m); err != nil {
			t.Fatal(err)
		}
		change(&m)
		text, err := json.Marshal(m)
		if err != nil {
			t.Fatal(err)
		}
		all[0].body = text
		return all
	}
}

// withRecord changes one record and makes digest and manifest fit it.
func withRecord(kind string, change func(r *record)) func(t *testing.T, all []entry) []entry {
	return withLife(func(lines []string) []string {
		for i, line := range lines {
			var r record
			if json.Unmarshal([]byte(line), &r) != nil || r.Type != kind {
				continue
			}
			change(&r)
			if r.Digest = hexSHA(r.Body); r.Type == "plan" {
				r.Digest = hexSHA([]byte(r.Text))
			}
			l := life{records: []record{r}}
			text, _ := l.text()
			lines[i] = strings.TrimSuffix(string(text), "\n")
			break
		}
		return lines
	})
}

func in(from, to string) func(r *record) {
	return func(r *record) {
		if !strings.Contains(string(r.Body), from) {
			panic("the record has no " + from)
		}
		r.Body = json.RawMessage(strings.Replace(string(r.Body), from, to, 1))
	}
}

// Whatever is wrong with an archive, it is said in one line and nothing is
// written, neither row nor file.
func TestImportRefusesAndWritesNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("a store for each archive")
	}
	good := lived(t)
	archive := export(t, good.Store, good.board.ID)
	for name, c := range map[string]struct {
		change func(t *testing.T, all []entry) []entry
		want   string
	}{
		"other tar":         {func(_ *testing.T, all []entry) []entry { return all[1:] }, `it begins with "life.jsonl"`},
		"manifest of words": {func(_ *testing.T, all []entry) []entry { all[0].body = []byte("hello"); return all }, "its manifest cannot be read"},
		"no format":         {withManifest(func(m *Manifest) { m.Format = "" }), "no archive of a board"},
		"no life":           {withManifest(func(m *Manifest) { m.Files = m.Files[1:] }), "life.jsonl must be the first"},
		"out of the folder": {withManifest(func(m *Manifest) { m.Files[1].Name = "takes/../../../etc/x.wav" }), "which is no take"},
		"absolute":          {withManifest(func(m *Manifest) { m.Files[1].Name = "/etc/passwd" }), "which is no take"},
		"another's name":    {withManifest(func(m *Manifest) { m.Files[1].SHA256 = strings.Repeat("0", 64) }), "which is no take"},
		"absurd size":       {withManifest(func(m *Manifest) { m.Files[1].Bytes = 1 << 60 }), "bytes of takes/"},
		"absurd life":       {withManifest(func(m *Manifest) { m.Files[0].Bytes = 1 << 60 }), "bytes of life.jsonl"},
		"minus one byte":    {withManifest(func(m *Manifest) { m.Files[0].Bytes = -1 }), "bytes of life.jsonl"},
		"too many":          {withManifest(func(m *Manifest) { m.Files = append(m.Files, make([]ManifestFile, maxArchiveFiles)...) }), "at most 100000"},
		"twice":             {withManifest(func(m *Manifest) { m.Files = append(m.Files, m.Files[1]) }), "twice, or out of order"},
		"larger":            {withManifest(func(m *Manifest) { m.Files[1].Bytes++ }), "its manifest says"},
		"other life":        {withManifest(func(m *Manifest) { m.Files[0].SHA256 = strings.Repeat("0", 64) }), "life.jsonl is damaged"},
		"other board":       {withManifest(func(m *Manifest) { m.Board.UID = "x" }), `its manifest is of the board "x"`},
		"one more":          {func(_ *testing.T, all []entry) []entry { return append(all, entry{all[2].head, nil}) }, "which its manifest does not name"},
		"one less":          {func(_ *testing.T, all []entry) []entry { return all[:2] }, "the file ends before takes/"},
		"moved out":         {func(_ *testing.T, all []entry) []entry { all[2].head.Name = "../x"; return all }, `holds "../x" where`},
		"a link": {func(_ *testing.T, all []entry) []entry {
			all[2].head.Typeflag, all[2].head.Linkname, all[2].head.Size, all[2].body = tar.TypeSymlink, "/etc/passwd", 0, nil
			return all
		}, "is no plain file"},
		"extended": {func(_ *testing.T, all []entry) []entry {
			all[2].head.Format, all[2].head.PAXRecords = tar.FormatPAX, map[string]string{"comment": "x"}
			return all
		}, "is no plain file"},
		"one bit of a take": {func(_ *testing.T, all []entry) []entry { all[2].body[99] ^= 1; return all }, "is damaged: its digest is another"},
		"half a line":       {withLife(func(l []string) []string { l[3] = l[3][:9]; return l }), "line 4 of life.jsonl cannot be read"},
		"no board":          {withLife(func(l []string) []string { return l[1:] }), "a board is the first line"},
		"two boards":        {withLife(func(l []string) []string { return append(l, l[0]) }), "a board is the first line"},
		"nothing":           {withLife(func([]string) []string { return nil }), "line 1 of life.jsonl cannot be read"},
		"a changed reading": {withLife(func(l []string) []string {
			for i := range l {
				l[i] = strings.Replace(l[i], `"value":-0.173`, `"value":-0.172`, 1)
			}
			return l
		}), "a run, is damaged"},
		"unknown record":     {withRecord("hunt", func(r *record) { r.Type = "dream" }), `a "dream" is not known: update boardproof`},
		"board no label":     {withRecord("board", in(`"label":"Night Train"`, `"label":""`)), "cannot be registered"},
		"board no uid":       {withRecord("board", in(`"uid":`, `"xid":`)), "its manifest is of the board"},
		"bench no inputs":    {withRecord("bench", in(`"inputs":{`, `"xnputs":{`)), "has no inputs"},
		"bench of letters":   {withRecord("bench", in(`"rate_hz":`, `"rate_hz":"x","y":`)), "line 2 of life.jsonl"},
		"profile no bench":   {withRecord("profile", in(`"bench":"bench one"`, `"bench":" "`)), "has no bench"},
		"profile no name":    {withRecord("profile", func(r *record) { r.ID = "../p" }), "has no bench, no name"},
		"plan not a plan":    {withRecord("plan", func(r *record) { r.Text = "x = [" }), "line 4 of life.jsonl"},
		"plan no date":       {withRecord("plan", func(r *record) { r.Created = "yesterday" }), "has no date or number"},
		"plan gone":          {withLife(func(l []string) []string { return append(l[:3:3], l[4:]...) }), "names a profile or a plan that is not in it"},
		"profile gone":       {withLife(func(l []string) []string { return append(l[:2:2], l[3:]...) }), "names a profile or a plan that is not in it"},
		"run no name":        {withRecord("run", func(r *record) { r.ID = "r2026; DROP TABLE runs" }), "is no name of a run"},
		"run of no day":      {withRecord("run", func(r *record) { r.ID = "r20269999-0001" }), "is no name of a run"},
		"run of the future":  {withRecord("run", in(`"bench":`, `"aura":1,"bench":`)), "is of a newer boardproof"},
		"run another format": {withRecord("run", in(`boardproof-run/1`, `boardproof-run/2`)), "is of a newer boardproof"},
		"run no bench":       {withRecord("run", in(`"bench":"bench one"`, `"bench":""`)), "it must name its bench"},
		"run of another":     {withRecord("run", in(`"uid":"`, `"uid":"x`)), "is of another board"},
		"run's take":         {withRecord("run", in(`"sha256":"`, `"sha256":"../`)), "which is no SHA-256"},
		"run twice":          {withLife(func(l []string) []string { return append(l, l[5]) }), "twice"},
		"corrects nobody":    {withLife(func(l []string) []string { return append(l[:5:5], l[7:]...) }), "names another run that is not in it"},
		"hunt of the future": {withRecord("hunt", in(`"bench":`, `"aura":1,"bench":`)), "is of a newer boardproof"},
		"hunt no name":       {withRecord("hunt", func(r *record) { r.ID = "r20261125-0001" }), "is no hunt"},
		"hunt's profile":     {withRecord("hunt", in(`"profile":"`, `"profile":"0`)), "names a profile that is not there"},
	} {
		t.Run(name, func(t *testing.T) {
			bad := pack(t, c.change(t, unpack(t, archive)))
			refuses(t, bad, ErrInvalid, c.want)
		})
	}
	t.Run("newer", func(t *testing.T) {
		bad := pack(t, withManifest(func(m *Manifest) { m.Format = "boardproof-archive/2" })(t, unpack(t, archive)))
		refuses(t, bad, ErrNewer, "update boardproof")
	})
	for _, n := range []int{0, 1, 511, 512, 700, 1024, 2000, len(archive) / 2, len(archive) - 2000} {
		t.Run(fmt.Sprintf("cut to %d", n), func(t *testing.T) { refuses(t, archive[:n], ErrInvalid, "not imported: ") })
	}
	t.Run("text", func(t *testing.T) {
		refuses(t, []byte(strings.Repeat("only text\n", 200)), ErrInvalid, "no archive of a board")
	})
}

func refuses(t *testing.T, archive []byte, kind error, want string) {
	t.Helper()
	s := newStore(t)
	before, filesBefore := tableCounts(t, s), files(t, s)
	_, err := s.Import(t.Context(), bytes.NewReader(archive))
	if !errors.Is(err, kind) || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
		t.Errorf("error %v, want %q", err, want)
	}
	if diff := cmp.Diff(before, tableCounts(t, s)); diff != "" {
		t.Errorf("rows were written:\n%s", diff)
	}
	if diff := cmp.Diff(filesBefore, files(t, s)); diff != "" {
		t.Errorf("files were written:\n%s", diff)
	}
}

// A damaged take is found while it is read, before anything is written.
func TestDamagedTakeIsFoundOnReading(t *testing.T) {
	s := lived(t)
	all := unpack(t, export(t, s.Store, s.board.ID))
	all[2].body[99] ^= 1
	_, err := readArchive(bytes.NewReader(pack(t, all)), func(string, io.Reader) error { return nil })
	if !errors.Is(err, ErrInvalid) || !strings.Contains(err.Error(), "is damaged") {
		t.Errorf("read with %v", err)
	}
}

// Whichever row cannot be written, no row is, and no file stays.
func TestImportIsAllOrNothing(t *testing.T) {
	good := lived(t)
	archive := export(t, good.Store, good.board.ID)
	for _, table := range []string{"boards", "profiles", "plans", "runs", "takes", "hunts", "origins"} {
		s := newStore(t)
		if err := alter(t, s, fmt.Sprintf("CREATE TRIGGER boom BEFORE INSERT ON %s BEGIN SELECT RAISE(ABORT, 'boom'); END", table)); err != nil {
			t.Fatal(err)
		}
		before := tableCounts(t, s)
		if _, err := s.Import(t.Context(), bytes.NewReader(archive)); err == nil || !strings.Contains(err.Error(), "boom") {
			t.Errorf("%s cannot be written: %v", table, err)
		}
		if diff := cmp.Diff(before, tableCounts(t, s)); diff != "" || len(files(t, s)) != 0 {
			t.Errorf("%s: left %q\n%s", table, files(t, s), diff)
		}
	}
}

// Whatever the bytes are, reading them ends in an archive or one line.
func FuzzArchive(f *testing.F) {
	b := board("Night Train")
	b.UID = "uid"
	l := &life{board: b}
	r := fixedRun()
	r.Named = Named{}
	r.BoardAsWas.UID = ""
	text, err := r.canonical()
	if err == nil {
		err = l.add(record{Type: "board"}, b, "id")
	}
	if err != nil {
		f.Fatal(err)
	}
	l.records = append(l.records, record{Type: "run", ID: r.ID, Digest: hexSHA(text), Body: text})
	for _, t := range r.Takes {
		l.takes = append(l.takes, t.SHA256)
	}
	var out bytes.Buffer
	if _, err := (&Store{path: f.TempDir() + "/none", files: osFiles{}}).writeArchive(&out, l); err != nil {
		f.Fatal(err)
	}
	if _, err := readArchive(bytes.NewReader(out.Bytes()), nil); err != nil {
		f.Fatal(err)
	}
	f.Add(out.Bytes())
	f.Add(out.Bytes()[:700])
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, archive []byte) {
		a, err := readArchive(bytes.NewReader(archive), func(string, io.Reader) error { return nil })
		if err != nil && (a != nil || strings.Contains(err.Error(), "\n") || !errors.Is(err, ErrInvalid) && !errors.Is(err, ErrNewer)) {
			t.Errorf("%v, %v", a, err)
		}
		if err == nil && (a.board.check() != nil || a.board.UID == "") {
			t.Errorf("took %+v", a.board)
		}
	})
}

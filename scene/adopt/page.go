package adopt

import (
	"bytes"
	"encoding/base64"
	"fmt"
	"html/template"
	"image"
	"image/color"
	"image/png"
	"io"
	"path/filepath"

	"catchlight/scene/colour"
	"catchlight/scene/imageio"
	"catchlight/scene/pages"
)

// Draft is a picture of the page.
type Draft struct {
	Title, File string // File lies beside the page
}

// thumbSize is the longer side of a thumbnail in pixels.
const thumbSize = 96

// thumbnail returns a small picture of a file as a data address, or "" where it can't be read.
func thumbnail(file string) template.URL {
	p, err := imageio.Read(file)
	if err != nil {
		return ""
	}
	k := max(1, (max(p.W, p.H)+thumbSize-1)/thumbSize)
	w, h := max(1, p.W/k), max(1, p.H/k)
	c := p.RGB()
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			var v [3]float64
			n := 0
			for j := y * k; j < min(p.H, (y+1)*k); j += max(1, k/8) {
				for i := x * k; i < min(p.W, (x+1)*k); i += max(1, k/8) {
					n++
					for q := range v {
						v[q] += float64(c[q][j*p.W+i])
					}
				}
			}
			var b [3]uint8
			for q := range v {
				s := v[q] / float64(n)
				if !p.Encoded {
					s = colour.EncodeSRGB(max(0, min(1, s)))
				}
				b[q] = uint8(255*max(0, min(1, s)) + 0.5)
			}
			m.SetNRGBA(x, y, color.NRGBA{b[0], b[1], b[2], 255})
		}
	}
	var buf bytes.Buffer
	if err := png.Encode(&buf, m); err != nil {
		return ""
	}
	return template.URL("data:image/png;base64," + base64.StdEncoding.EncodeToString(buf.Bytes()))
}

// Signs of the grades: a shape each, so that none needs colour.
var signs = [...]string{"\u25cf", "\u25d0", "\u25c7", "?"}

// Page writes the list of findings as one page that needs nothing but the drafts beside it.
func (p *Proposal) Page(w io.Writer, in Input, drafts []Draft) error {
	type row struct {
		Finding
		Sign  string
		Base  string
		Thumb template.URL
	}
	data := struct {
		Name, Verdict string
		Borrowed      []string
		Drafts        []Draft
		Rows          []row
		Notes         []string
		Counts        [4]int
	}{Name: filepath.Base(in.Asset), Verdict: p.Verdict, Borrowed: p.Borrowed(), Drafts: drafts, Notes: in.Notes}
	for _, f := range p.Findings {
		r := row{Finding: f, Sign: signs[f.Grade]}
		data.Counts[f.Grade]++
		if f.File != "" {
			r.Base, r.Thumb = filepath.Base(f.File), thumbnail(f.File)
		}
		data.Rows = append(data.Rows, r)
	}
	if err := page.Execute(w, data); err != nil {
		return fmt.Errorf("page: %w", err)
	}
	return nil
}

var page = pages.New("adopt", `{{template "head" (printf "%s: what was found" .Name)}}<style>
main { max-width: 72rem; }
.verdict{border-left:4px solid var(--warn);padding-left:.8rem}
.drafts{display:grid;grid-template-columns:repeat(auto-fit,minmax(15rem,1fr));gap:.7rem}
figure{margin:0}figure img{width:100%;display:block}figcaption{font-size:.85rem;color:var(--quiet)}
ul{list-style:none;padding:0;display:grid;grid-template-columns:repeat(auto-fit,minmax(20rem,1fr));gap:.4rem}
li{display:grid;grid-template-columns:1.5rem 1fr auto;gap:.5rem;background:var(--raised);padding:.45rem .6rem;font-size:.85rem;overflow-wrap:anywhere}
li b{font-weight:600}li .why{color:var(--quiet)}li img{max-width:72px;max-height:72px;align-self:start}
.unsure{outline:2px solid var(--warn)}.question{outline:2px dashed var(--mark)}.borrowed{outline:2px dotted var(--quiet)}
.sign{font-size:1.1rem}
</style>
<main>
<h1>{{.Name}}</h1>
<p class="verdict">{{.Verdict}}.</p>
<p>{{index .Counts 0}} &#9679; sure, {{index .Counts 1}} &#9680; unsure, {{index .Counts 2}} &#9671; borrowed from the built-in eye, {{index .Counts 3}} ? for you to answer. The same words stand in scene.yaml.</p>
<div class="drafts">{{range .Drafts}}<figure><img src="{{.File}}" alt="{{.Title}}"><figcaption>{{.Title}}{{if $.Borrowed}} &#9671; borrowed: {{range $i, $b := $.Borrowed}}{{if $i}}, {{end}}{{$b}}{{end}}{{end}}</figcaption></figure>{{end}}</div>
<ul>{{range .Rows}}<li class="{{.Word}}"><span class="sign" title="{{.Word}}">{{.Sign}}</span><span><b>{{.Topic}}</b>: {{.Choice}}<br><span class="why">{{if ne .Word "sure"}}{{.Word}}: {{end}}{{.Reason}}</span></span>{{if .Thumb}}<img src="{{.Thumb}}" alt="{{.Base}}" title="{{.Base}}">{{end}}</li>
{{end}}</ul>
{{if .Notes}}<p>The reader noted:</p><ul>{{range .Notes}}<li><span class="sign">&#9675;</span><span class="why">{{.}}</span></li>{{end}}</ul>{{end}}
</main>
`)

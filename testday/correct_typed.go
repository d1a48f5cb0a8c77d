package testday

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"sweepd/judge"
	"sweepd/run"
	"sweepd/store"
)

// CorrectRequest is what a person says when correcting what was typed of runs: of those
// that are named, or of those that a filter selects.
type CorrectRequest struct {
	Runs   []string      `json:"runs"` // any part of an id that only one run has, or "last"
	Filter FilterRequest `json:"filter"`
	Set    NewTyped      `json:"set"`
	Why    string        `json:"why"`
	Who    string        `json:"who"`
	DryRun bool          `json:"dry_run"` // nothing is changed
	New    bool          `json:"new"`     // names are meant as they are: none is doubted
}

// NewTyped is what of a run is to be another; nil and empty fields leave it.
type NewTyped struct {
	Device   *string `json:"device,omitzero"`
	Workload *string `json:"workload,omitzero"`
	Setting  *string `json:"setting,omitzero"` // 15W or a name; "" or "unknown": nobody knows
	Supply   *string `json:"supply,omitzero"`  // mains or battery; "" or "unknown"
	Note     *string `json:"note,omitzero"`    // "" takes it away
	// Variant are k=v pairs that are set, and RemoveVariant keys that are taken away;
	// other pairs stay.
	Variant       []string `json:"variant,omitzero"`
	RemoveVariant []string `json:"remove_variant,omitzero"`
	RenameResult  []string `json:"rename_result,omitzero"` // OLD=NEW
	RemoveResult  []string `json:"remove_result,omitzero"`
	// Conditions are facts that a person typed; an empty one is taken away.
	Conditions run.Typed `json:"conditions,omitzero"`
}

// unknownWord is what a person may type for a label that nobody knows.
const unknownWord = "unknown"

// CorrectAnswer is what was corrected, or would be.
type CorrectAnswer struct {
	// ID names the correction, to take it back; "" where nothing was changed.
	ID        string         `json:"id"`
	Undoes    string         `json:"undoes,omitzero"`
	Runs      []CorrectedRun `json:"runs"`
	Unchanged []string       `json:"unchanged"` // ids of selected runs that have it already
	Left      []LeftRun      `json:"left"`      // that cannot be corrected now
	// Doubts are the names that are probably slips, of those that are right now.
	Doubts []NameDoubt `json:"doubts"`
}

// CorrectedRun is a run with what is corrected of it.
type CorrectedRun struct {
	Run       string        `json:"run"` // id
	StartedAt run.Timestamp `json:"started_at"`
	Cell      run.Cell      `json:"cell"` // before
	Changes   []run.Change  `json:"changes"`
	State     run.State     `json:"state"` // after
	Was       run.State     `json:"was"`   // state before
	// Found and Gone are codes of findings that the run has then, and has no more.
	Found []run.Code `json:"found"`
	Gone  []run.Code `json:"gone"`
}

// LeftRun is a run that cannot be corrected now, and why.
type LeftRun struct {
	Run string `json:"run"`
	Why string `json:"why"`
}

// CorrectableRuns are kept runs with their sweeps, which are judged again.
type CorrectableRuns interface {
	store.Runs
	store.Readings
	store.AnalysisRuns
	store.Corrector
}

// NamedRuns are kept runs whose names are held against all that were seen.
type NamedRuns interface {
	CorrectableRuns
	Seen
}

// CorrectRuns corrects what was typed of runs.
var CorrectRuns = &Operation[CorrectRequest, CorrectAnswer]{
	About{Method: "POST", Path: "/runs/correct", Summary: "Corrects what was typed of runs, or says what would be corrected.", Needs: NeedsRight, Opens: OpensToWrite},
	func(ctx context.Context, d *Day, q CorrectRequest) (CorrectAnswer, error) {
		a, err := CorrectTyped(ctx, d.Store, q, d.Thresholds, d.Now)
		return a, d.publishCorrected(ctx, a, err)
	},
}

// publishCorrected has whoever follows runs hear of those that were corrected.
func (d *Day) publishCorrected(ctx context.Context, a CorrectAnswer, err error) error {
	if a.ID == "" || err != nil {
		return err
	}
	for _, c := range a.Runs {
		err := d.Publish(func() (run.Event, error) {
			r, err := d.Store.Run(ctx, c.Run)
			return run.Event{Kind: run.RunCorrected, Run: r.Run}, err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// CorrectTyped corrects what was typed of runs, all or none, and judges again what
// depends on it. th are the thresholds of findings.
func CorrectTyped(ctx context.Context, s NamedRuns, q CorrectRequest, th judge.Thresholds, now time.Time) (a CorrectAnswer, err error) {
	set, err := q.Set.parse()
	if err != nil {
		return a, requestError(err)
	}
	if q.Why != "" {
		if err := run.CheckLabel("reason", q.Why); err != nil {
			return a, requestError(err)
		}
	}
	if len(q.Runs) == 0 && q.Filter.empty() {
		return a, requestError(errors.New("which runs? Name them, or say by filters which are meant (--workload, --since, ...)"))
	}
	runs, err := q.selected(ctx, s, now)
	if err != nil {
		return a, err
	}
	if err := set.checkNames(runs); err != nil {
		return a, err
	}
	b := batch{store: s, thresholds: th, why: q.Why, who: q.Who, at: now}
	if !q.New {
		if b.answer.Doubts, err = q.Set.Named().doubtedInPlaceOf(ctx, s, runsOf(runs)); err != nil {
			return a, err
		}
	}
	for _, d := range runs {
		changes, err := set.changes(&d.Run)
		if err != nil {
			return a, fmt.Errorf("run %s: %w", run.ShortID(d.ID), err)
		}
		if err := b.add(ctx, d, changes); err != nil {
			return a, err
		}
	}
	if left := b.answer.Left; len(left) > 0 && (len(q.Runs) > 0 || len(b.list) == 0) {
		return a, fmt.Errorf("run %s: %s", run.ShortID(left[0].Run), left[0].Why)
	}
	return b.done(ctx, q.DryRun)
}

func runsOf(list []run.Record) []run.Run {
	runs := make([]run.Run, len(list))
	for i, d := range list {
		runs[i] = d.Run
	}
	return runs
}

// checkNames refuses the name of a result, and the key of a variant, that no selected run
// has.
func (x newTyped) checkNames(runs []run.Record) error {
	names := slices.Clone(x.removed)
	for _, pair := range x.renamed {
		names = append(names, pair[0])
	}
	all, pairs := map[string]run.Result{}, map[string]string{}
	for _, d := range runs {
		maps.Copy(all, d.Results)
		maps.Insert(pairs, d.Variant.Pairs())
	}
	for _, key := range x.without {
		if err := noneHas("variant key", key, slices.Sorted(maps.Keys(pairs))); err != nil {
			return err
		}
	}
	for _, name := range names {
		if err := noneHas("result", name, slices.Sorted(maps.Keys(all))); err != nil {
			return err
		}
	}
	return nil
}

// noneHas is the error where no selected run has what is to be changed; nil where one has.
func noneHas(what, name string, have []string) error {
	hint := "they have " + strings.Join(have, ", ")
	switch near := run.Near(name, have); {
	case slices.Contains(have, name):
		return nil
	case near != "":
		hint = "did you mean " + near + "?"
	case len(have) == 0:
		hint = "they have none"
	}
	return fmt.Errorf("no selected run has the %s %q: %s", what, run.Shorten(name), hint)
}

// empty tells whether the filter selects all runs.
func (q FilterRequest) empty() bool {
	return q.Device == "" && q.Workload == "" && q.Supply == "" && len(q.Variant) == 0 && q.Setting == "" && q.State == "" && q.Finding == "" &&
		q.Since == "" && q.Until == "" && q.Last == 0
}

// selected are the runs that are meant, once each.
func (q CorrectRequest) selected(ctx context.Context, s store.Runs, now time.Time) (list []run.Record, err error) {
	f, err := q.Filter.Filter(now)
	if err != nil {
		return nil, err
	}
	if len(q.Runs) == 0 {
		list, err = s.Records(ctx, f)
		if err == nil && len(list) == 0 {
			err = errors.New("no run fits: `sweepd run list` with the same filters shows which do")
		}
		return list, err
	}
	if !q.Filter.empty() {
		return nil, requestError(errors.New("name runs, or say by filters which are meant: not both"))
	}
	for _, id := range q.Runs {
		d, err := s.Run(ctx, id)
		if err != nil {
			return nil, err
		}
		if indexOf(list, d.ID) < 0 {
			list = append(list, d)
		}
	}
	return list, nil
}

// newTyped is NewTyped as it was understood.
type newTyped struct {
	labels  []run.Change // and the note and conditions; Old is open
	variant map[string]string
	without []string // keys of the variant
	renamed [][2]string
	removed []string // results
}

func (n NewTyped) parse() (x newTyped, err error) {
	add := func(what run.Field, text string) {
		x.labels = append(x.labels, run.Change{What: what, New: text})
	}
	var errs []error
	for what, text := range map[run.Field]*string{run.FieldDevice: n.Device, run.FieldWorkload: n.Workload} {
		if text != nil {
			errs = append(errs, run.CheckLabel(string(what), *text))
			add(what, *text)
		}
	}
	if n.Setting != nil {
		text, source := "", run.Source("")
		if *n.Setting != "" && *n.Setting != unknownWord {
			s, err := ParseSetting(*n.Setting)
			errs = append(errs, err)
			text, source = s.String(), run.Declared
		}
		add(run.FieldSetting, text)
		add(run.FieldSource, string(source))
	}
	if n.Supply != nil {
		text := *n.Supply
		if text == unknownWord {
			text = ""
		}
		errs = append(errs, oneOf("supply", text, string(run.Mains), string(run.Battery), unknownWord))
		add(run.FieldSupply, text)
	}
	if n.Note != nil {
		errs = append(errs, run.CheckNote(*n.Note))
		add(run.FieldNote, run.NoteText(*n.Note))
	}
	errs = append(errs, n.Conditions.Check())
	for _, key := range slices.Sorted(maps.Keys(n.Conditions)) {
		x.labels = append(x.labels, run.Change{What: run.FieldCondition, Name: key, New: n.Conditions[key]})
	}
	v, err := run.ParseVariantPairs(n.Variant)
	errs = append(errs, err)
	x.variant, x.without = maps.Collect(v.Pairs()), n.RemoveVariant
	for _, key := range n.RemoveVariant {
		if _, both := x.variant[key]; both {
			errs = append(errs, fmt.Errorf("the variant's %s is both set and removed", run.Shorten(key)))
		}
	}
	for _, pair := range n.RenameResult {
		old, name, ok := strings.Cut(pair, "=")
		old, name = strings.TrimSpace(old), strings.TrimSpace(name)
		if !ok || old == "" || name == "" || old == name {
			errs = append(errs, fmt.Errorf("%q is not OLD=NEW: give the result's name as it is, and as it should be (fps=fps_mean)", run.Shorten(pair)))
			continue
		}
		errs = append(errs, run.CheckResult(name, run.Result{Better: run.Higher}))
		x.renamed = append(x.renamed, [2]string{old, name})
	}
	x.removed = n.RemoveResult
	if err := errors.Join(errs...); err != nil {
		return x, err
	}
	if len(x.labels)+len(x.variant)+len(x.without)+len(x.renamed)+len(x.removed) == 0 {
		return x, errors.New("nothing to correct is given: say what is right, as in --set-workload NAME")
	}
	return x, nil
}

// changes are those that a run needs.
func (x newTyped) changes(r *run.Run) (list []run.Change, err error) {
	for _, c := range x.labels {
		if c.Old = c.Of(r); c.Old != c.New {
			list = append(list, c)
		}
	}
	// A setting that is right stays as it was read, whoever says so again.
	if !slices.ContainsFunc(list, func(c run.Change) bool { return c.What == run.FieldSetting }) {
		list = slices.DeleteFunc(list, func(c run.Change) bool { return c.What == run.FieldSource })
	}
	pairs := maps.Collect(r.Variant.Pairs())
	maps.Copy(pairs, x.variant)
	for _, key := range x.without {
		delete(pairs, key)
	}
	if v := run.NewVariant(pairs); v != r.Variant {
		list = append(list, run.Change{What: run.FieldVariant, Old: string(r.Variant), New: string(v)})
	}
	results := maps.Clone(r.Results)
	for _, names := range x.renamed {
		old, there := results[names[0]]
		if !there {
			continue
		}
		if _, taken := results[names[1]]; taken {
			return nil, fmt.Errorf("it has both results, %s and %s: remove one (--remove-result)", names[0], names[1])
		}
		delete(results, names[0])
		results[names[1]] = old
	}
	for _, name := range x.removed {
		delete(results, name)
	}
	return append(list, resultChanges(r.Results, results)...), nil
}

// resultChanges are what leads from some results to others.
func resultChanges(from, to map[string]run.Result) (list []run.Change) {
	names := maps.Clone(from)
	if names == nil {
		names = map[string]run.Result{}
	}
	maps.Copy(names, to)
	for _, name := range slices.Sorted(maps.Keys(names)) {
		c := run.Change{What: run.FieldResult, Name: name}
		c.Old, c.New = c.Of(&run.Run{Results: from}), c.Of(&run.Run{Results: to})
		if c.Old != c.New {
			list = append(list, c)
		}
	}
	return list
}

// batch gathers corrections of runs that are made together.
type batch struct {
	store      CorrectableRuns
	thresholds judge.Thresholds
	why, who   string
	undoes     string
	at         time.Time

	answer CorrectAnswer
	list   []store.RunCorrection
	unlike []run.Run // of which it is looked again whether they differ from their repeats
}

// add adds the changes of a run, judged again.
func (b *batch) add(ctx context.Context, d run.Record, changes []run.Change) error {
	switch {
	case len(changes) == 0:
		b.answer.Unchanged = append(b.answer.Unchanged, d.ID)
		return nil
	case d.State == run.Recording || d.KeptIn != "":
		b.answer.Left = append(b.answer.Left, LeftRun{d.ID, notYet(d.Run)})
		return nil
	case len(d.Facts) == 0 && slices.ContainsFunc(changes, func(c run.Change) bool { return c.What == run.FieldCondition }):
		b.answer.Left = append(b.answer.Left, LeftRun{d.ID, "it is of a table, which tells no conditions of its runs"})
		return nil
	}
	h, err := b.store.History(ctx, d.ID)
	if err != nil {
		return err
	}
	after := d
	after.Results, after.Facts = maps.Clone(d.Results), maps.Clone(d.Facts)
	for _, c := range changes {
		if err := c.ApplyTo(&after.Run); err != nil {
			return fmt.Errorf("run %s: %w", run.ShortID(d.ID), err)
		}
	}
	after.Corrected = run.Corrected(append(h.Changes(), changes...))
	c := run.Correction{Changes: changes, Why: b.why, Who: b.who, At: b.at, Undoes: b.undoes, Findings: map[run.Code]*run.Finding{}}
	if slices.ContainsFunc(changes, judged) {
		if err := b.judge(ctx, &c, after, h); err != nil {
			return fmt.Errorf("run %s: judging it again: %w", run.ShortID(d.ID), err)
		}
		if d.Supply == after.Supply {
			c.System = nil
		}
	}
	if d.Cell() != after.Cell() {
		c.Findings[run.Outlying], c.Findings[run.ConditionsDiffer] = nil, nil // it has other repeats
		b.unlike = append(b.unlike, d.Run)
	}
	b.unlike = append(b.unlike, after.Run)
	b.list = append(b.list, store.RunCorrection{Run: d.ID, Correction: c})
	b.answer.Runs = append(b.answer.Runs, correctedRun(d.Run, c))
	return nil
}

// judged tells whether findings depend on what a change changes.
func judged(c run.Change) bool {
	switch c.What {
	case run.FieldSupply, run.FieldSetting, run.FieldSource, run.FieldResult:
		return true
	}
	return false
}

// notYet says when a run can be corrected.
func notYet(r run.Run) string {
	if r.State == run.Recording {
		return "it is still recording: what was typed of it can be corrected once it has ended (sweepd run stop)"
	}
	return "it has ended, but could not be stored so far: correct it as soon as it is stored"
}

// judge judges again what depends on labels and results.
func (b *batch) judge(ctx context.Context, c *run.Correction, after run.Record, h store.History) error {
	trace, err := b.store.Trace(ctx, after.ID)
	if err != nil {
		return err
	}
	x, err := judge.Relabel(after, trace, b.thresholds)
	if err != nil {
		return err
	}
	maps.Copy(c.Findings, x.Findings)
	c.System = x.System
	decideAgain(c, after.State, h, x.Reject)
	return nil
}

// JudgeAgain judges runs again that were corrected in two places, by their full ids.
func JudgeAgain(ctx context.Context, s CorrectableRuns, ids []string, th judge.Thresholds, now time.Time) error {
	b := batch{store: s, thresholds: th, at: now}
	for _, id := range ids {
		d, err := s.Run(ctx, id)
		if err != nil {
			return err
		}
		h, err := s.History(ctx, id)
		if err != nil {
			return err
		}
		c := run.Correction{At: now, Findings: map[run.Code]*run.Finding{}}
		if err := b.judge(ctx, &c, d, h); err != nil {
			return fmt.Errorf("run %s: judging it again: %w", run.ShortID(id), err)
		}
		b.list = append(b.list, store.RunCorrection{Run: id, Correction: c})
	}
	if len(b.list) == 0 {
		return nil
	}
	_, err := s.CorrectAll(ctx, b.list)
	return err
}

// decideAgain has a run back that a finding rejected which does not hold any more, and
// rejects one that a finding rejects now. What a person decided stands.
func decideAgain(c *run.Correction, state run.State, h store.History, reject *run.Finding) {
	var last store.Decided
	if n := len(h.Decisions); n > 0 {
		last = h.Decisions[n-1]
	}
	switch {
	case state == run.Rejected && last.Who == "finding" && reject == nil:
		c.Decision, c.FindingWhy = run.Keep, "judged again with what was corrected: no finding rejects it"
	case state == run.Finished && last.Who != "user" && reject != nil:
		c.Decision, c.FindingWhy = run.Reject, string(reject.Code)+": "+reject.Text
	}
}

// correctedRun says what a correction does to a run.
func correctedRun(r run.Run, c run.Correction) CorrectedRun {
	x := CorrectedRun{Run: r.ID, StartedAt: r.StartedAt, Cell: r.Cell(), Changes: c.Changes, State: r.State, Was: r.State, Found: []run.Code{}, Gone: []run.Code{}}
	for _, code := range slices.Sorted(maps.Keys(c.Findings)) {
		switch has, had := c.Findings[code] != nil, r.HasFinding(code); {
		case has && !had:
			x.Found = append(x.Found, code)
		case had && !has:
			x.Gone = append(x.Gone, code)
		}
	}
	switch c.Decision {
	case run.Keep:
		x.State = run.Finished
	case run.Reject:
		x.State = run.Rejected
	}
	return x
}

// correct corrects runs, by their full ids.
func (b *batch) correct(ctx context.Context, ids []string, changes func(*run.Record) []run.Change) (CorrectAnswer, error) {
	for _, id := range ids {
		d, err := b.store.Run(ctx, id)
		if err != nil {
			return b.answer, err
		}
		if err := b.add(ctx, d, changes(&d)); err != nil {
			return b.answer, err
		}
	}
	return b.done(ctx, false)
}

// done makes the corrections, unless that is only asked about.
func (b *batch) done(ctx context.Context, dryRun bool) (CorrectAnswer, error) {
	a := b.answer
	a.Undoes = b.undoes
	a.Unchanged = append([]string{}, a.Unchanged...)
	a.Runs, a.Left, a.Doubts = append([]CorrectedRun{}, a.Runs...), append([]LeftRun{}, a.Left...), append([]NameDoubt{}, a.Doubts...)
	if dryRun || len(b.list) == 0 {
		return a, nil
	}
	id, err := run.NewID(b.at, nil)
	if err != nil {
		return a, err
	}
	for i := range b.list {
		b.list[i].Batch = id
	}
	corrected, err := b.store.CorrectAll(ctx, b.list)
	if err != nil {
		return a, err
	}
	a.ID = id
	for i, d := range corrected { // as they are, in place of what was foreseen
		a.Runs[i].State = d.State
	}
	return a, markUnlikeOf(ctx, b.store, b.unlike, b.thresholds, b.at)
}

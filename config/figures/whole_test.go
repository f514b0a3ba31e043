package figures

import (
	"go/constant"
	"go/types"
	"io/fs"
	"maps"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// judging are the packages that make pressures of readings, and judge them: all below
// these.
var judging = []string{
	"rules", "ingest/sample", "ingest/clock", "ingest/health", "ingest/battery",
	"ingest/calib/curve", "ingest/calib/figures", "ingest/calib/fit", "ingest/calib/protocol", "ingest/calib/record",
}

// Every number by which readings are judged is listed, but for those that arrange the
// work.
func TestNumbersThatJudgeAreListed(t *testing.T) {
	code, looked, left := newCode(t), 0, maps.Clone(arranging)
	listed := func(name string) bool {
		return slices.ContainsFunc(Numbers(), func(f Figure) bool { return f.Name == name })
	}
	for _, top := range judging {
		err := filepath.WalkDir("../../"+top, func(path string, d fs.DirEntry, err error) error {
			if err != nil || !d.IsDir() || d.Name() == "testdata" {
				return err
			}
			within := strings.TrimPrefix(filepath.ToSlash(path), "../../")
			pkg, err := code.Import("weald/" + within)
			if err != nil {
				return nil // a folder of folders
			}
			for _, name := range pkg.Scope().Names() {
				k, ok := pkg.Scope().Lookup(name).(*types.Const)
				if !ok || !isNumber(k) {
					continue
				}
				looked++
				full := within + "." + name
				if !listed(full) && !arranging[full] {
					t.Errorf("%s is %v: list it in numbers.tsv, with where it is from, or here, if it changes no answer", full, k.Val())
				} else if listed(full) && arranging[full] {
					t.Errorf("%s is listed in numbers.tsv and here", full)
				}
				delete(left, full)
			}
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for name := range left {
		t.Errorf("there is no %s any more", name)
	}
	if looked < 150 {
		t.Errorf("looked at %d numbers only", looked)
	}
}

// isNumber tells numbers from texts and from members of an enumeration, which have a
// type of their own.
func isNumber(k *types.Const) bool {
	if kind := k.Val().Kind(); kind != constant.Int && kind != constant.Float {
		return false
	}
	_, own := k.Type().(*types.Named)
	return !own || k.Type().String() == "time.Duration"
}

// arranging are numbers that change no answer: codes, versions, bounds of what is said or
// of what the daemon takes upon itself, and steps of reckoning.
var arranging = namesIn(`
	rules exact mostDecimals mostSaid snapshotVersion tiny
	rules/alert lifeVersion
	rules/exposure Never exact steep tableStep
	rules/expr MaxDepth MaxNodes levelAnd levelAtom levelCompare levelNot levelOr levelProduct levelSign levelSum maxProblems
	rules/hold Forever condition eight exact isNo isUnknown isYes memory raised yesAbove
	rules/limb exact
	rules/matstat none smooth
	rules/posture layers
	rules/relief exact
	ingest/clock shed
	ingest/health allAtOnce findingsShown stripes
	ingest/battery NoCelsius Unlimited firstBin maxBins
	ingest/calib/curve Version motionSize
	ingest/calib/protocol mostBeside mostKept mostOfAll mostReadings
	ingest/calib/record RefusedVersion Version refusals
`)

func namesIn(text string) map[string]bool {
	all := map[string]bool{}
	for line := range strings.Lines(text) {
		if words := strings.Fields(line); len(words) > 1 {
			for _, name := range words[1:] {
				all[words[0]+"."+name] = true
			}
		}
	}
	return all
}

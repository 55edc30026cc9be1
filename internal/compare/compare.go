package compare

import "math"

// Compare sets the readings against the record. It returns an *InputError when
// an input cannot be true; there is no result then.
//
// Without wide or skewed inputs it takes a few milliseconds; with them it adds
// a Monte Carlo propagation of Trials trials for each reading.
func Compare(in Input) (Result, error) { return compare(in, Trials) }

func compare(in Input, trials int) (Result, error) {
	if err := in.check(); err != nil {
		return Result{}, err
	}
	situations, assumed := in.resolve()
	result := Result{Formula: Formula, Seed: in.Seed, Agrees: true, Assumptions: assumed}
	e := evidence{situations: situations}
	for i, s := range situations {
		// Each reading has random numbers of its own.
		setting, err := s.set(i, in.Theirs[i].Ohms, in.Seed+uint64(i), trials)
		if err != nil {
			return Result{}, err
		}
		e.shown = append(e.shown, setting.TheirsOhms)
		result.Settings = append(result.Settings, setting)
		result.Agrees = result.Agrees && setting.Agrees
		if i == 0 || math.Abs(setting.EN) > math.Abs(result.EN) {
			result.Setting = setting
		}
	}
	decisive := result.Reading
	ranked := e.weigh(in.models(e))
	result.Table = situations[decisive].table(result.TheirsOhms)
	result.explain(in, e, ranked)
	result.Damage = in.damage(situations[decisive], result.TheirsOhms, ranked, result.Agrees)
	result.Meaning = result.meaning()
	result.Answer = in.answer(result)
	return result, nil
}

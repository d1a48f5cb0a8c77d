package analysis

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// mserByDefinition is the criterion as the papers write it, cut by cut.
func mserByDefinition(values []float64, cut int) float64 {
	z := batchMeans(values, mserBatch)[cut:]
	mean, sum := finiteMean(z), 0.0
	for _, v := range z {
		sum += (v - mean) * (v - mean)
	}
	return sum / float64(len(z)) / float64(len(z))
}

func TestWarmUpByDefinition(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 5))
	for range 50 {
		values := make([]float64, 50+random.IntN(300))
		for i := range values {
			values[i] = 20 + 8*math.Exp(-float64(i)/30) + random.NormFloat64()
		}
		kept := slices.Clone(values)
		got := WarmUpMSER5(values)
		if !slices.Equal(values, kept) {
			t.Fatal("input changed")
		}
		least, best := math.Inf(1), 0
		for d := 0; d+mserSpare <= len(values)/mserBatch; d++ {
			if c := mserByDefinition(values, d); c < least {
				least, best = c, d
			}
		}
		within(t, "criterion", got.Criterion, least, 1e-12)
		if want := best <= len(values)/mserBatch/2; got.Reached != want {
			t.Errorf("reached %v, want %v", got.Reached, want)
		}
		if got.Reached && got.Cut != best*mserBatch {
			t.Errorf("cut %d, want %d", got.Cut, best*mserBatch)
		}
		within(t, "mean", got.Mean, finiteMean(values[got.Cut:]), 1e-12)
	}
}

// A step from 30 to 20 after 40 of 200 values: the cut is the step, exactly,
// because any later cut has fewer batches of the same zero spread.
func TestWarmUpStep(t *testing.T) {
	values := append(slices.Repeat([]float64{30}, 40), slices.Repeat([]float64{20}, 160)...)
	got := WarmUpMSER5(values)
	if !got.Reached || got.Cut != 40 || got.Mean != 20 {
		t.Errorf("%+v, want a cut of 40 and a mean of 20", got)
	}
}

func TestWarmUpEdges(t *testing.T) {
	steady := slices.Repeat([]float64{25}, 100)
	if got := WarmUpMSER5(steady); !got.Reached || got.Cut != 0 {
		t.Errorf("steady: %+v, want nothing cut", got)
	}
	late := append(slices.Repeat([]float64{30}, 150), slices.Repeat([]float64{20}, 50)...)
	if got := WarmUpMSER5(late); got.Reached || got.Cut != 0 || got.Note == "" {
		t.Errorf("step in the second half: %+v, want not reached", got)
	}
	gaps := append(slices.Repeat([]float64{30}, 40), slices.Repeat([]float64{20}, 160)...)
	for i := 60; i < 72; i++ {
		gaps[i] = math.NaN()
	}
	gaps[3] = math.Inf(1)
	if got := WarmUpMSER5(gaps); !got.Reached || got.Cut != 40 || got.Mean != 20 {
		t.Errorf("missing values: %+v, want a cut of 40", got)
	}
	for name, values := range map[string][]float64{
		"none":        nil,
		"49":          slices.Repeat([]float64{1}, 49),
		"all missing": slices.Repeat([]float64{math.NaN()}, 100),
		"overflow":    slices.Repeat([]float64{math.MaxFloat64, math.MaxFloat64, math.MaxFloat64, math.MaxFloat64, math.MaxFloat64, -math.MaxFloat64, -math.MaxFloat64, -math.MaxFloat64, -math.MaxFloat64, -math.MaxFloat64}, 10),
	} {
		if got := WarmUpMSER5(values); got.Reached || got.Cut != 0 || got.Note == "" {
			t.Errorf("%s: %+v, want not reached and a note", name, got)
		}
	}
}

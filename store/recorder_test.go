package store

import (
	"testing"

	"sweepd/internal/recordercontract"
)

func TestRecorderContract(t *testing.T) {
	recordercontract.Test(t, func(t *testing.T) recordercontract.Recorder { return openTest(t) })
}

package memrecorder_test

import (
	"testing"

	"sweepd/internal/memrecorder"
	"sweepd/internal/recordercontract"
)

func TestRecorderContract(t *testing.T) {
	recordercontract.Test(t, func(*testing.T) recordercontract.Recorder { return &memrecorder.Recorder{} })
}

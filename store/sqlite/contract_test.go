package sqlite

import (
	"testing"

	"sweepd/store"
	"sweepd/store/contract"
)

func TestContract(t *testing.T) {
	contract.Test(t, func(t *testing.T) store.Store { return openTest(t) })
}

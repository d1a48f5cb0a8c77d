//go:build !unix

package exporter

func (f *footprint) cpuSeconds() (float64, error) {
	t, err := f.process.TimesWithContext(f.ctx)
	if err != nil {
		return 0, err
	}
	return t.User + t.System, nil
}

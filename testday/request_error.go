package testday

// RequestError is what is wrong with a request itself, whatever the data holds: a
// value that is out of bounds or means nothing.
type RequestError struct{ Err error }

func (e *RequestError) Error() string { return e.Err.Error() }
func (e *RequestError) Unwrap() error { return e.Err }

// requestError marks an error as one of the request; nil stays nil.
func requestError(err error) error {
	if err == nil {
		return nil
	}
	return &RequestError{err}
}

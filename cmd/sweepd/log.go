package main

import (
	"context"
	"io"
	"log/slog"
	"os"

	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"golang.org/x/term"

	"sweepd/run"
)

// newLogger logs lines for people to a terminal, and JSON to anything else.
func newLogger(w io.Writer) *zap.Logger {
	var encoder zapcore.Encoder
	if isTerminal(w) {
		c := zap.NewDevelopmentEncoderConfig()
		c.EncodeTime = zapcore.TimeEncoderOfLayout("15:04:05.000")
		encoder = zapcore.NewConsoleEncoder(c)
	} else {
		c := zap.NewProductionEncoderConfig()
		c.EncodeTime = zapcore.RFC3339NanoTimeEncoder
		c.EncodeDuration = zapcore.SecondsDurationEncoder
		encoder = zapcore.NewJSONEncoder(c)
	}
	return zap.New(zapcore.NewCore(encoder, zapcore.Lock(zapcore.AddSync(run.VisibleWriter{To: w})), zap.InfoLevel))
}

func isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd()))
}

// slogger hands what a library logs through log/slog to zap. Its information is
// of interest in debugging only.
func slogger(log *zap.Logger) *slog.Logger { return slog.New(slogHandler{log}) }

type slogHandler struct{ log *zap.Logger }

func (h slogHandler) level(l slog.Level) zapcore.Level {
	switch {
	case l >= slog.LevelError:
		return zap.ErrorLevel
	case l >= slog.LevelWarn:
		return zap.WarnLevel
	}
	return zap.DebugLevel
}

func (h slogHandler) Enabled(_ context.Context, l slog.Level) bool {
	return h.log.Core().Enabled(h.level(l))
}

func (h slogHandler) Handle(_ context.Context, r slog.Record) error {
	fields := make([]zap.Field, 0, r.NumAttrs())
	r.Attrs(func(a slog.Attr) bool {
		fields = append(fields, zap.Any(a.Key, a.Value.Any()))
		return true
	})
	h.log.Log(h.level(r.Level), r.Message, fields...)
	return nil
}

func (h slogHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	log := h.log
	for _, a := range attrs {
		log = log.With(zap.Any(a.Key, a.Value.Any()))
	}
	return slogHandler{log}
}

func (h slogHandler) WithGroup(name string) slog.Handler { return slogHandler{h.log.Named(name)} }

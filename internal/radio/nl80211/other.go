//go:build !linux

package nl80211

import (
	"context"

	"footrule/internal/radio"
)

type system struct{}

type live struct{}

func open(string, Options) (live, error) { return live{}, &Error{Kind: ErrUnsupported} }

func interfaces(Options) ([]Interface, error) { return nil, &Error{Kind: ErrUnsupported} }

func diagnose(context.Context, string, Options) []Check {
	return []Check{{Name: "operating system", Detail: ErrUnsupported.Error(), Fix: "take live readings on a machine with Linux"}}
}

func (live) about() Interface { return Interface{} }

func (live) scan(context.Context, radio.Request) (Result, error) {
	return Result{}, &Error{Kind: ErrUnsupported}
}

func (live) close() {}

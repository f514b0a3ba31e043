package ingest

import "log/slog"

// say logs what is wrong when it begins, becomes something else, and ends. A
// bridge that is stopped, or has said everything, is neither well nor in trouble.
func (s *Supervisor) say(state LinkState, c complaint) {
	if state == Stopped || state == Ended {
		return
	}
	switch {
	case c.kind == s.said:
	case c.kind == "":
		s.log.Info("bridge is well")
	default:
		s.log.Warn("bridge is in trouble", slog.String("why", c.words))
	}
	s.said = c.kind
	if state == Open && c.kind == "" {
		for _, source := range s.in.sources {
			source.say(s.log, s.in.opened >= source.lastPass)
		}
	}
}

// say logs what is wrong with a source while nothing is with its bridge, which
// would explain it. One that has been unheard of since the link was opened is not
// called well for that.
func (s *source) say(log *slog.Logger, unheard bool) {
	switch {
	case s.wrong.kind == s.said:
		return
	case s.wrong.kind != "":
		log.Warn("source is in trouble", slog.String("source", s.spec.ID), slog.String("why", s.wrong.words))
	case unheard:
		return
	default:
		log.Info("source is well", slog.String("source", s.spec.ID))
	}
	s.said = s.wrong.kind
}

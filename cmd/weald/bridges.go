package main

import (
	"weald/config"
	"weald/ingest"
	"weald/ingest/calib"
	"weald/ingest/filelink"
	"weald/ingest/serialport"
)

// bridgeOf turns what the configuration says of a bridge into what ingest runs.
// A nil link is for recordings, which are played without one.
func bridgeOf(b *config.Bridge, link ingest.Link) ingest.Bridge {
	out := ingest.Bridge{ID: b.ID, Link: link, Capture: b.Capture, Format: ingest.Format{Kind: ingest.Kind(b.Format)}}
	if b.Delimited != nil {
		out.Format.Delimited = *b.Delimited
	}
	for i := range b.Sources {
		s := &b.Sources[i]
		unit := calib.Counts
		if s.Unit == config.MMHg {
			unit = calib.MMHg
		}
		out.Sources = append(out.Sources, ingest.Source{
			Number: s.Number, ID: s.ID, Index: s.Index,
			Channels: s.Channels, Rate: s.Rate, StaleAfter: s.StaleAfter,
			Unit: unit, Calibration: s.Lines, SaturatesAt: s.SaturatesAt,
		})
	}
	return out
}

// linkOf makes the link of a bridge.
func linkOf(b *config.Bridge, speed float64) ingest.Link {
	if f := b.Link.File; f != nil {
		return filelink.Link{Path: f.Path, Fast: f.Fast, Decoder: bridgeOf(b, nil).Format.Decoder, Speed: speed}
	}
	s := b.Link.Serial
	link := serialport.Link{Path: s.Port, Baud: s.Baud}
	if s.USB != nil {
		link.USB = serialport.USB{Vendor: s.USB.Vendor, Product: s.USB.Product, Serial: s.USB.Serial}
	}
	return link
}

package main

import (
	"fmt"
	"strings"

	"weald/config"
	"weald/webui/api"
)

// What is said of what leaves on a way out.
const (
	tellsAlerts = "alerts: place, rule, priority, the numbers that made it so, when; the code of who has it, and no reason; a test every day"
	tellsBeats  = "that the daemon does its work: a number, the time, the end of the audit's chain, and nothing of places and people"
	asksWho     = "that somebody wants to log in, when somebody does; the directory tells who, and learns nothing of places and people"
	keepsRecord = "the whole record, to be kept on several machines"
	asksFrames  = "what it takes to ask for readings, and no readings"
)

// leaves are all ways on which anything leaves this machine by itself, by the
// configuration: the one list of them. Without a configuration of such it is empty.
func leaves(c *config.Config) []api.Leaving {
	all := []api.Leaving{}
	for i := range c.Notify {
		s := &c.Notify[i]
		all = append(all, api.Leaving{By: "sender " + s.ID, To: senderOf(s).Reaches(), Kind: "alerts", What: tellsAlerts})
	}
	if h := c.Heartbeat; h != nil {
		if h.Webhook != nil {
			all = append(all, api.Leaving{By: "heartbeat", To: hookOf(h.Webhook).Reaches(), Kind: "beats", What: tellsBeats})
		}
		if h.Topic != nil {
			all = append(all, api.Leaving{By: "heartbeat", To: topicOf(h.Topic).Reaches(), Kind: "beats", What: tellsBeats})
		}
	}
	if c.OIDC != nil {
		all = append(all, api.Leaving{By: "log-in", To: "directory at " + c.OIDC.Issuer, Kind: "directory", What: asksWho})
	}
	if c.Cluster != nil {
		all = append(all, api.Leaving{By: "cluster", To: strings.Join(c.Cluster.Servers, " "), Kind: "record", What: keepsRecord})
	}
	for i := range c.Bridges {
		b := &c.Bridges[i]
		switch {
		case b.Link.MQTT != nil:
			all = append(all, api.Leaving{By: "bridge " + b.ID, To: "broker " + b.Link.MQTT.Broker, Kind: "asks", What: asksFrames})
		case b.Link.Dial != nil:
			all = append(all, api.Leaving{By: "bridge " + b.ID, To: "bridge at " + b.Link.Dial.Address, Kind: "asks", What: asksFrames})
		case b.Link.BLE != nil:
			all = append(all, api.Leaving{By: "bridge " + b.ID, To: "a Bluetooth peripheral nearby", Kind: "asks", What: asksFrames})
		}
	}
	return all
}

// sayLeaves is what the log says of it at a start.
func sayLeaves(all []api.Leaving) string {
	switch len(all) {
	case 0:
		return "nothing leaves this machine by itself"
	case 1:
		return "something leaves this machine by itself, on one way"
	}
	return fmt.Sprintf("something leaves this machine by itself, on %d ways", len(all))
}

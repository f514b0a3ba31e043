// Package hospital plays as many invented places at once as it is asked for, each
// behind a bridge of its own and over real connections: TCP, where the daemon dials,
// and MQTT, where each bridge is a client of the daemon's listener that waits until
// each of its frames is acknowledged. It writes the configuration of a daemon that
// hears and judges them all, and is there to find out how many a machine carries.
//
// Places of one kind differ as people do: some bodies are invented, each for a minute
// that is played over and over, and every bridge begins somewhere in it. Bridges know
// nothing of each other, so their scans are spread over the time between two.
package hospital

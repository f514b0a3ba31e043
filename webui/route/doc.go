// Package route is the one table of what the daemon answers: what for, with which
// method and path, who may ask, and what the audit calls it. The mux, the permissions
// and the OpenAPI document are made of it, so that nothing can be served that is not
// in it: see All.
package route

package frame

// header counts the titles above the rows. A line with fewer than the columns
// that are read has something else to say.
func (d *Rows) header(b []byte) {
	d.cells.start(b)
	if all, _, ok := d.rest(); ok && all >= len(d.roles) {
		d.titles = all
	}
}

// measure looks for more columns in an accepted row, of which the columns that
// are read were walked over.
func (d *Rows) measure() {
	if d.c.Columns > 0 {
		return // read has refused what is wider
	}
	all, used, ok := d.rest()
	if !ok {
		return // a stray quote where nobody reads
	}
	all, used = len(d.roles)+all, len(d.roles)+used
	if d.usual == 0 {
		if d.usual = all; d.titles > 0 {
			d.usual = min(all, d.titles)
		}
	}
	if used > d.usual {
		d.f.Wide = Width{Columns: used, Usual: d.usual, Line: d.line}
	}
}

// rest counts the cells that are left in the row: all of them, and those up to
// the last that is not empty. It is not ok where quotes do not match.
func (d *Rows) rest() (all, used int, ok bool) {
	for {
		text, more, ok := d.cells.cell()
		if !more || !ok {
			return all, used, ok
		}
		if all++; len(text) > 0 {
			used = all
		}
	}
}

package tree

import "strings"

// Nearest returns the known word that is most likely meant by word, or "".
func Nearest(word string, known []string) string {
	best, least := "", 1+max(1, len(word)/3)
	for _, k := range known {
		if n := distance(strings.ToLower(word), k); n < least {
			best, least = k, n
		}
	}
	return best
}

// distance counts the letters that must be inserted, removed, changed or
// swapped with their neighbour to make b of a (optimal string alignment).
func distance(a, b string) int {
	if len(a) > 64 || len(b) > 64 {
		return len(a) + len(b) // no key is that long
	}
	var before, prev []int
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		before, prev, row = prev, row, make([]int, len(b)+1)
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(prev[j]+1, row[j-1]+1, prev[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
	}
	return row[len(b)]
}

// OneOf joins words as "a, b or c".
func OneOf(words []string) string {
	switch n := len(words); n {
	case 0:
		return "nothing"
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " or " + words[n-1]
	}
}

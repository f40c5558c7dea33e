// Package median gives the median of numbers.
package median

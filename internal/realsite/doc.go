// Package realsite gives tests open data of real sites, which lie beside the
// repository and are no part of it.
package realsite

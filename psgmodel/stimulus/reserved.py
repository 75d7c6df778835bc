"""Reserved words: what no signal can be called.

Stage: stimulus. In: nothing. Out: the words of Verilog (IEEE 1364-2001, annex B), VHDL (IEEE 1076-1993, clause 13.9)
and Python that could be taken for a name, in lower case.
"""

from __future__ import annotations

_WORDS = """
abs access after alias all always and architecture array assert assign attribute begin block body buf buffer bus case
casex casez cell component config configuration constant deassign default defparam design disable disconnect downto
edge else elsif end endcase endconfig endfunction endgenerate endmodule endprimitive endspecify endtable endtask
entity event exit file for force forever fork function generate generic genvar group guarded highz0 highz1 if ifnone
impure in incdir include inertial initial inout input instance integer is join label large liblist library linkage
literal localparam loop macromodule map medium mod module nand negedge new next nmos nor not notif0 notif1 null of on
open or others out output package parameter pmos port posedge postponed primitive procedure process pull0 pull1
pulldown pullup pure range rcmos real realtime record reg register reject release rem repeat report return rnmos rol
ror rpmos rtran scalared select severity shared signal signed sla sll small specify specparam sra srl strong0 strong1
subtype supply0 supply1 table task then time to tran transport tri tri0 tri1 triand trior trireg type unaffected units
unsigned until use variable vectored wait wand weak0 weak1 when while wire with wor xnor xor class def del elif except
finally from global import lambda nonlocal pass raise try yield async await
"""


def reserved_words() -> frozenset[str]:
    """Return the words."""
    return frozenset(_WORDS.split())

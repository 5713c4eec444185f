"""Models of the power path's parts for ngspice: textbook equations, figures of generic parts.

All figures are those of data sheets of the kinds named, from memory; none is of a maker's
part. circuit.md says what they leave out.
"""

MODELS = """
* 1 to 5 A Schottky: 0.35 V at 0.5 A
.model schottky D(Is=5u N=1.1 Rs=0.03 Cjo=200p Vj=0.4 M=0.4)
* 0.24 V at 0.1 mA
.model small_schottky D(Is=14n N=1.05 Rs=3 Cjo=10p)
.model silicon D(Is=5n N=1.7 Rs=0.5 Cjo=4p Tt=5n)
* 40 V, 30 to 50 mohm, on at 2.5 V
.model pmos VDMOS(pchan Vto=-1.2 Kp=12 Rd=15m Rs=10m Rg=4 Cgdmax=0.6n Cgdmin=0.1n A=0.6
+ Cgs=1.3n Cjo=0.4n Is=1p Rb=20m)
* 1 to 2 ohm, threshold 1.5 V
.model nmos VDMOS(nchan Vto=1.5 Kp=0.4 Rd=0.6 Rs=0.2 Rg=20 Cgdmax=15p Cgdmin=4p A=0.6
+ Cgs=40p Cjo=20p Is=1p Rb=0.5)
* small PNP of the 45 V, 0.5 A kind
.model pnp PNP(Is=1e-14 Bf=160 Vaf=40 Ikf=0.3 Rb=20 Rc=1 Re=0.3 Cje=12p Cjc=8p Tf=0.6n
+ Tr=60n)
.model pnp_power PNP(Is=1e-12 Bf=60 Vaf=60 Ikf=5 Rb=1 Rc=0.08 Re=0.02 Cje=400p Cjc=200p
+ Tf=40n Tr=1u)
.model closer SW(Ron=10m Roff=1g Vt=0.5 Vh=0.1)
.model opener SW(Ron=1m Roff=1g Vt=0.5 Vh=0.1)

* PNP Darlington: base, collector, emitter
.subckt darlington b c e
Q1 c b m pnp_power
Q2 c m e pnp_power
R1 b m 8k
R2 m e 120
D1 c e silicon
.ends

* 431: cathode, anode, reference; gm 2 S, a pole of 0.8 us, not below 1.8 V, 0.1 A at most
.subckt reference k a r vref=2.495
Ir r a 2u
Bx x 0 V=v(r,a)-vref
Rx x y 1k
Cx y 0 0.8n
Bk k a I=(min(max(2*v(y),0),0.1)+0.3m*min(max(v(r,a)/2.4,0),1))*0.5*(1+tanh((v(k,a)-1.8)/0.1))
Ck k a 30p
.ends

* comparator with open collector: plus, minus, output, supply, ground; 1.3 us, sinks 16 mA
.subckt comparator p m o s g
Bx x 0 V=0.5*(1+tanh((v(m)-v(p))/3m))*0.5*(1+tanh((v(s,g)-1.8)/0.05))
Rx x y 1k
Cx y 0 1.3n
Bo o g I=min(max(v(o,g)/60,0),16m)*0.5*(1+tanh((v(y)-0.5)/0.1))
Rs s g 8k
Co o g 15p
.ends

* low-drop regulator: input, ground, output; 1 A at most, blocks backwards
.subckt regulator i g o vout=5
Bo i o I=min(max((min(v(i,g)-0.2,vout)-v(o,g))/0.2,0),1)
Rq i g 20k
.ends
"""

ESR_OHM = {"electrolytic": 0.03, "capacitor": 0.005}  # low-resistance kinds: from memory
COIL_OHM = 0.05
ZENER_OHM = 5.0
# the converter that fails: its coil and what is left of its transistor
FAILED_H, FAILED_OHM = 10e-6, 0.08

begin_version
3
end_version
begin_metric
1
end_metric
113
begin_variable
var0
-1
2
Atom v1_5()
NegatedAtom v1_5()
end_variable
begin_variable
var1
-1
2
Atom v1_4()
NegatedAtom v1_4()
end_variable
begin_variable
var2
-1
2
Atom v1_3()
NegatedAtom v1_3()
end_variable
begin_variable
var3
-1
2
Atom v1_2()
NegatedAtom v1_2()
end_variable
begin_variable
var4
-1
2
Atom v1_1()
NegatedAtom v1_1()
end_variable
begin_variable
var5
-1
2
Atom v1_0()
NegatedAtom v1_0()
end_variable
begin_variable
var6
-1
2
Atom v0_5()
NegatedAtom v0_5()
end_variable
begin_variable
var7
-1
2
Atom v0_4()
NegatedAtom v0_4()
end_variable
begin_variable
var8
-1
2
Atom v0_3()
NegatedAtom v0_3()
end_variable
begin_variable
var9
-1
2
Atom v0_2()
NegatedAtom v0_2()
end_variable
begin_variable
var10
-1
2
Atom v0_1()
NegatedAtom v0_1()
end_variable
begin_variable
var11
-1
2
Atom v0_0()
NegatedAtom v0_0()
end_variable
begin_variable
var12
-1
2
Atom s1_3()
NegatedAtom s1_3()
end_variable
begin_variable
var13
-1
2
Atom s1_2()
NegatedAtom s1_2()
end_variable
begin_variable
var14
-1
2
Atom s1_1()
NegatedAtom s1_1()
end_variable
begin_variable
var15
-1
2
Atom s1_0()
NegatedAtom s1_0()
end_variable
begin_variable
var16
-1
2
Atom s0_3()
NegatedAtom s0_3()
end_variable
begin_variable
var17
-1
2
Atom s0_2()
NegatedAtom s0_2()
end_variable
begin_variable
var18
-1
2
Atom s0_1()
NegatedAtom s0_1()
end_variable
begin_variable
var19
-1
2
Atom s0_0()
NegatedAtom s0_0()
end_variable
begin_variable
var20
-1
2
Atom new1_b0()
NegatedAtom new1_b0()
end_variable
begin_variable
var21
-1
2
Atom new1_t0()
NegatedAtom new1_t0()
end_variable
begin_variable
var22
-1
2
Atom new1_b1()
NegatedAtom new1_b1()
end_variable
begin_variable
var23
-1
2
Atom new1_t1()
NegatedAtom new1_t1()
end_variable
begin_variable
var24
-1
2
Atom new1_b2()
NegatedAtom new1_b2()
end_variable
begin_variable
var25
-1
2
Atom new1_t2()
NegatedAtom new1_t2()
end_variable
begin_variable
var26
-1
2
Atom new1_b3()
NegatedAtom new1_b3()
end_variable
begin_variable
var27
-1
2
Atom new1_t3()
NegatedAtom new1_t3()
end_variable
begin_variable
var28
-1
2
Atom new1_b4()
NegatedAtom new1_b4()
end_variable
begin_variable
var29
-1
2
Atom new1_t4()
NegatedAtom new1_t4()
end_variable
begin_variable
var30
-1
2
Atom new1_b5()
NegatedAtom new1_b5()
end_variable
begin_variable
var31
-1
2
Atom new1_t5()
NegatedAtom new1_t5()
end_variable
begin_variable
var32
-1
2
Atom new1_b6()
NegatedAtom new1_b6()
end_variable
begin_variable
var33
-1
2
Atom new1_t6()
NegatedAtom new1_t6()
end_variable
begin_variable
var34
-1
2
Atom new1_b7()
NegatedAtom new1_b7()
end_variable
begin_variable
var35
-1
2
Atom new1_t7()
NegatedAtom new1_t7()
end_variable
begin_variable
var36
-1
2
Atom old1_c0()
NegatedAtom old1_c0()
end_variable
begin_variable
var37
-1
2
Atom new1_c0()
NegatedAtom new1_c0()
end_variable
begin_variable
var38
-1
2
Atom old1_c1()
NegatedAtom old1_c1()
end_variable
begin_variable
var39
-1
2
Atom new1_c1()
NegatedAtom new1_c1()
end_variable
begin_variable
var40
-1
2
Atom old1_c2()
NegatedAtom old1_c2()
end_variable
begin_variable
var41
-1
2
Atom new1_c2()
NegatedAtom new1_c2()
end_variable
begin_variable
var42
-1
2
Atom old1_c3()
NegatedAtom old1_c3()
end_variable
begin_variable
var43
-1
2
Atom new1_c3()
NegatedAtom new1_c3()
end_variable
begin_variable
var44
-1
2
Atom old1_b0()
NegatedAtom old1_b0()
end_variable
begin_variable
var45
-1
2
Atom old1_b1()
NegatedAtom old1_b1()
end_variable
begin_variable
var46
-1
2
Atom old1_b2()
NegatedAtom old1_b2()
end_variable
begin_variable
var47
-1
2
Atom old1_b3()
NegatedAtom old1_b3()
end_variable
begin_variable
var48
-1
2
Atom old1_b4()
NegatedAtom old1_b4()
end_variable
begin_variable
var49
-1
2
Atom old1_b5()
NegatedAtom old1_b5()
end_variable
begin_variable
var50
-1
2
Atom old1_b6()
NegatedAtom old1_b6()
end_variable
begin_variable
var51
-1
2
Atom old1_b7()
NegatedAtom old1_b7()
end_variable
begin_variable
var52
-1
2
Atom new1_seated()
NegatedAtom new1_seated()
end_variable
begin_variable
var53
-1
2
Atom old1_seated()
NegatedAtom old1_seated()
end_variable
begin_variable
var54
-1
2
Atom new1_f0()
NegatedAtom new1_f0()
end_variable
begin_variable
var55
-1
2
Atom new1_f1()
NegatedAtom new1_f1()
end_variable
begin_variable
var56
-1
2
Atom new1_f2()
NegatedAtom new1_f2()
end_variable
begin_variable
var57
-1
2
Atom new1_f3()
NegatedAtom new1_f3()
end_variable
begin_variable
var58
-1
2
Atom new1_f4()
NegatedAtom new1_f4()
end_variable
begin_variable
var59
-1
2
Atom new1_f5()
NegatedAtom new1_f5()
end_variable
begin_variable
var60
-1
2
Atom old1_f0()
NegatedAtom old1_f0()
end_variable
begin_variable
var61
-1
2
Atom old1_f1()
NegatedAtom old1_f1()
end_variable
begin_variable
var62
-1
2
Atom old1_f2()
NegatedAtom old1_f2()
end_variable
begin_variable
var63
-1
2
Atom old1_f3()
NegatedAtom old1_f3()
end_variable
begin_variable
var64
-1
2
Atom old1_f4()
NegatedAtom old1_f4()
end_variable
begin_variable
var65
-1
2
Atom old1_f5()
NegatedAtom old1_f5()
end_variable
begin_variable
var66
-1
2
Atom new0_b0()
NegatedAtom new0_b0()
end_variable
begin_variable
var67
-1
2
Atom new0_t0()
NegatedAtom new0_t0()
end_variable
begin_variable
var68
-1
2
Atom new0_b1()
NegatedAtom new0_b1()
end_variable
begin_variable
var69
-1
2
Atom new0_t1()
NegatedAtom new0_t1()
end_variable
begin_variable
var70
-1
2
Atom new0_b2()
NegatedAtom new0_b2()
end_variable
begin_variable
var71
-1
2
Atom new0_t2()
NegatedAtom new0_t2()
end_variable
begin_variable
var72
-1
2
Atom new0_b3()
NegatedAtom new0_b3()
end_variable
begin_variable
var73
-1
2
Atom new0_t3()
NegatedAtom new0_t3()
end_variable
begin_variable
var74
-1
2
Atom new0_b4()
NegatedAtom new0_b4()
end_variable
begin_variable
var75
-1
2
Atom new0_t4()
NegatedAtom new0_t4()
end_variable
begin_variable
var76
-1
2
Atom new0_b5()
NegatedAtom new0_b5()
end_variable
begin_variable
var77
-1
2
Atom new0_t5()
NegatedAtom new0_t5()
end_variable
begin_variable
var78
-1
2
Atom new0_b6()
NegatedAtom new0_b6()
end_variable
begin_variable
var79
-1
2
Atom new0_t6()
NegatedAtom new0_t6()
end_variable
begin_variable
var80
-1
2
Atom new0_b7()
NegatedAtom new0_b7()
end_variable
begin_variable
var81
-1
2
Atom new0_t7()
NegatedAtom new0_t7()
end_variable
begin_variable
var82
-1
2
Atom old0_c0()
NegatedAtom old0_c0()
end_variable
begin_variable
var83
-1
2
Atom new0_c0()
NegatedAtom new0_c0()
end_variable
begin_variable
var84
-1
2
Atom old0_c1()
NegatedAtom old0_c1()
end_variable
begin_variable
var85
-1
2
Atom new0_c1()
NegatedAtom new0_c1()
end_variable
begin_variable
var86
-1
2
Atom old0_c2()
NegatedAtom old0_c2()
end_variable
begin_variable
var87
-1
2
Atom new0_c2()
NegatedAtom new0_c2()
end_variable
begin_variable
var88
-1
2
Atom old0_c3()
NegatedAtom old0_c3()
end_variable
begin_variable
var89
-1
2
Atom new0_c3()
NegatedAtom new0_c3()
end_variable
begin_variable
var90
-1
2
Atom old0_b0()
NegatedAtom old0_b0()
end_variable
begin_variable
var91
-1
2
Atom old0_b1()
NegatedAtom old0_b1()
end_variable
begin_variable
var92
-1
2
Atom old0_b2()
NegatedAtom old0_b2()
end_variable
begin_variable
var93
-1
2
Atom old0_b3()
NegatedAtom old0_b3()
end_variable
begin_variable
var94
-1
2
Atom old0_b4()
NegatedAtom old0_b4()
end_variable
begin_variable
var95
-1
2
Atom old0_b5()
NegatedAtom old0_b5()
end_variable
begin_variable
var96
-1
2
Atom old0_b6()
NegatedAtom old0_b6()
end_variable
begin_variable
var97
-1
2
Atom old0_b7()
NegatedAtom old0_b7()
end_variable
begin_variable
var98
-1
2
Atom new0_seated()
NegatedAtom new0_seated()
end_variable
begin_variable
var99
-1
2
Atom old0_seated()
NegatedAtom old0_seated()
end_variable
begin_variable
var100
-1
2
Atom new0_f0()
NegatedAtom new0_f0()
end_variable
begin_variable
var101
-1
2
Atom new0_f1()
NegatedAtom new0_f1()
end_variable
begin_variable
var102
-1
2
Atom new0_f2()
NegatedAtom new0_f2()
end_variable
begin_variable
var103
-1
2
Atom new0_f3()
NegatedAtom new0_f3()
end_variable
begin_variable
var104
-1
2
Atom new0_f4()
NegatedAtom new0_f4()
end_variable
begin_variable
var105
-1
2
Atom new0_f5()
NegatedAtom new0_f5()
end_variable
begin_variable
var106
-1
2
Atom old0_f0()
NegatedAtom old0_f0()
end_variable
begin_variable
var107
-1
2
Atom old0_f1()
NegatedAtom old0_f1()
end_variable
begin_variable
var108
-1
2
Atom old0_f2()
NegatedAtom old0_f2()
end_variable
begin_variable
var109
-1
2
Atom old0_f3()
NegatedAtom old0_f3()
end_variable
begin_variable
var110
-1
2
Atom old0_f4()
NegatedAtom old0_f4()
end_variable
begin_variable
var111
-1
2
Atom old0_f5()
NegatedAtom old0_f5()
end_variable
begin_variable
var112
-1
2
Atom goal0()
NegatedAtom goal0()
end_variable
0
begin_state
0
0
0
0
0
0
0
0
0
0
0
0
0
0
0
0
0
0
0
0
1
1
1
1
1
1
1
1
1
1
1
1
1
1
1
1
0
1
0
1
0
1
0
1
0
0
0
0
0
0
0
0
1
0
1
1
1
1
1
1
0
0
0
0
0
0
1
1
1
1
1
1
1
1
1
1
1
1
1
1
1
1
0
1
0
1
0
1
0
1
0
0
0
0
0
0
0
0
1
0
1
1
1
1
1
1
0
0
0
0
0
0
1
end_state
begin_goal
1
112 0
end_goal
289
begin_operator
away_new0 
18
66 1
68 1
70 1
72 1
74 1
76 1
78 1
80 1
83 1
85 1
87 1
89 1
100 1
101 1
102 1
103 1
104 1
105 1
1
0 98 0 1
1
end_operator
begin_operator
away_new1 
18
20 1
22 1
24 1
26 1
28 1
30 1
32 1
34 1
37 1
39 1
41 1
43 1
54 1
55 1
56 1
57 1
58 1
59 1
1
0 52 0 1
1
end_operator
begin_operator
away_old0 
18
90 1
91 1
92 1
93 1
94 1
95 1
96 1
97 1
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 99 0 1
1
end_operator
begin_operator
away_old1 
18
44 1
45 1
46 1
47 1
48 1
49 1
50 1
51 1
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 53 0 1
1
end_operator
begin_operator
demate_new0_new0_c0_joined 
4
85 1
87 1
89 1
19 1
1
0 83 0 1
1
end_operator
begin_operator
demate_new0_new0_c0_shut 
4
19 1
18 1
17 1
16 1
1
0 83 0 1
1
end_operator
begin_operator
demate_new0_new0_c1_joined 
4
83 1
87 1
89 1
18 1
1
0 85 0 1
1
end_operator
begin_operator
demate_new0_new0_c1_shut 
4
19 1
18 1
17 1
16 1
1
0 85 0 1
1
end_operator
begin_operator
demate_new0_new0_c2_joined 
4
83 1
85 1
89 1
17 1
1
0 87 0 1
1
end_operator
begin_operator
demate_new0_new0_c2_shut 
4
19 1
18 1
17 1
16 1
1
0 87 0 1
1
end_operator
begin_operator
demate_new0_new0_c3_joined 
4
83 1
85 1
87 1
16 1
1
0 89 0 1
1
end_operator
begin_operator
demate_new0_new0_c3_shut 
4
19 1
18 1
17 1
16 1
1
0 89 0 1
1
end_operator
begin_operator
demate_new0_new0_f0_joined 
6
101 1
102 1
103 1
104 1
105 1
11 1
1
0 100 0 1
1
end_operator
begin_operator
demate_new0_new0_f0_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 100 0 1
1
end_operator
begin_operator
demate_new0_new0_f1_joined 
6
100 1
102 1
103 1
104 1
105 1
10 1
1
0 101 0 1
1
end_operator
begin_operator
demate_new0_new0_f1_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 101 0 1
1
end_operator
begin_operator
demate_new0_new0_f2_joined 
6
100 1
101 1
103 1
104 1
105 1
9 1
1
0 102 0 1
1
end_operator
begin_operator
demate_new0_new0_f2_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 102 0 1
1
end_operator
begin_operator
demate_new0_new0_f3_joined 
6
100 1
101 1
102 1
104 1
105 1
8 1
1
0 103 0 1
1
end_operator
begin_operator
demate_new0_new0_f3_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 103 0 1
1
end_operator
begin_operator
demate_new0_new0_f4_joined 
6
100 1
101 1
102 1
103 1
105 1
7 1
1
0 104 0 1
1
end_operator
begin_operator
demate_new0_new0_f4_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 104 0 1
1
end_operator
begin_operator
demate_new0_new0_f5_joined 
6
100 1
101 1
102 1
103 1
104 1
6 1
1
0 105 0 1
1
end_operator
begin_operator
demate_new0_new0_f5_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 105 0 1
1
end_operator
begin_operator
demate_new1_new1_c0_joined 
4
39 1
41 1
43 1
15 1
1
0 37 0 1
1
end_operator
begin_operator
demate_new1_new1_c0_shut 
4
15 1
14 1
13 1
12 1
1
0 37 0 1
1
end_operator
begin_operator
demate_new1_new1_c1_joined 
4
37 1
41 1
43 1
14 1
1
0 39 0 1
1
end_operator
begin_operator
demate_new1_new1_c1_shut 
4
15 1
14 1
13 1
12 1
1
0 39 0 1
1
end_operator
begin_operator
demate_new1_new1_c2_joined 
4
37 1
39 1
43 1
13 1
1
0 41 0 1
1
end_operator
begin_operator
demate_new1_new1_c2_shut 
4
15 1
14 1
13 1
12 1
1
0 41 0 1
1
end_operator
begin_operator
demate_new1_new1_c3_joined 
4
37 1
39 1
41 1
12 1
1
0 43 0 1
1
end_operator
begin_operator
demate_new1_new1_c3_shut 
4
15 1
14 1
13 1
12 1
1
0 43 0 1
1
end_operator
begin_operator
demate_new1_new1_f0_joined 
6
55 1
56 1
57 1
58 1
59 1
5 1
1
0 54 0 1
1
end_operator
begin_operator
demate_new1_new1_f0_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 54 0 1
1
end_operator
begin_operator
demate_new1_new1_f1_joined 
6
54 1
56 1
57 1
58 1
59 1
4 1
1
0 55 0 1
1
end_operator
begin_operator
demate_new1_new1_f1_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 55 0 1
1
end_operator
begin_operator
demate_new1_new1_f2_joined 
6
54 1
55 1
57 1
58 1
59 1
3 1
1
0 56 0 1
1
end_operator
begin_operator
demate_new1_new1_f2_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 56 0 1
1
end_operator
begin_operator
demate_new1_new1_f3_joined 
6
54 1
55 1
56 1
58 1
59 1
2 1
1
0 57 0 1
1
end_operator
begin_operator
demate_new1_new1_f3_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 57 0 1
1
end_operator
begin_operator
demate_new1_new1_f4_joined 
6
54 1
55 1
56 1
57 1
59 1
1 1
1
0 58 0 1
1
end_operator
begin_operator
demate_new1_new1_f4_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 58 0 1
1
end_operator
begin_operator
demate_new1_new1_f5_joined 
6
54 1
55 1
56 1
57 1
58 1
0 1
1
0 59 0 1
1
end_operator
begin_operator
demate_new1_new1_f5_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 59 0 1
1
end_operator
begin_operator
demate_old0_old0_c0_joined 
4
84 1
86 1
88 1
19 1
1
0 82 0 1
1
end_operator
begin_operator
demate_old0_old0_c0_shut 
4
19 1
18 1
17 1
16 1
1
0 82 0 1
1
end_operator
begin_operator
demate_old0_old0_c1_joined 
4
82 1
86 1
88 1
18 1
1
0 84 0 1
1
end_operator
begin_operator
demate_old0_old0_c1_shut 
4
19 1
18 1
17 1
16 1
1
0 84 0 1
1
end_operator
begin_operator
demate_old0_old0_c2_joined 
4
82 1
84 1
88 1
17 1
1
0 86 0 1
1
end_operator
begin_operator
demate_old0_old0_c2_shut 
4
19 1
18 1
17 1
16 1
1
0 86 0 1
1
end_operator
begin_operator
demate_old0_old0_c3_joined 
4
82 1
84 1
86 1
16 1
1
0 88 0 1
1
end_operator
begin_operator
demate_old0_old0_c3_shut 
4
19 1
18 1
17 1
16 1
1
0 88 0 1
1
end_operator
begin_operator
demate_old0_old0_f0_joined 
6
107 1
108 1
109 1
110 1
111 1
11 1
1
0 106 0 1
1
end_operator
begin_operator
demate_old0_old0_f0_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 106 0 1
1
end_operator
begin_operator
demate_old0_old0_f1_joined 
6
106 1
108 1
109 1
110 1
111 1
10 1
1
0 107 0 1
1
end_operator
begin_operator
demate_old0_old0_f1_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 107 0 1
1
end_operator
begin_operator
demate_old0_old0_f2_joined 
6
106 1
107 1
109 1
110 1
111 1
9 1
1
0 108 0 1
1
end_operator
begin_operator
demate_old0_old0_f2_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 108 0 1
1
end_operator
begin_operator
demate_old0_old0_f3_joined 
6
106 1
107 1
108 1
110 1
111 1
8 1
1
0 109 0 1
1
end_operator
begin_operator
demate_old0_old0_f3_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 109 0 1
1
end_operator
begin_operator
demate_old0_old0_f4_joined 
6
106 1
107 1
108 1
109 1
111 1
7 1
1
0 110 0 1
1
end_operator
begin_operator
demate_old0_old0_f4_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 110 0 1
1
end_operator
begin_operator
demate_old0_old0_f5_joined 
6
106 1
107 1
108 1
109 1
110 1
6 1
1
0 111 0 1
1
end_operator
begin_operator
demate_old0_old0_f5_shut 
6
11 1
10 1
9 1
8 1
7 1
6 1
1
0 111 0 1
1
end_operator
begin_operator
demate_old1_old1_c0_joined 
4
38 1
40 1
42 1
15 1
1
0 36 0 1
1
end_operator
begin_operator
demate_old1_old1_c0_shut 
4
15 1
14 1
13 1
12 1
1
0 36 0 1
1
end_operator
begin_operator
demate_old1_old1_c1_joined 
4
36 1
40 1
42 1
14 1
1
0 38 0 1
1
end_operator
begin_operator
demate_old1_old1_c1_shut 
4
15 1
14 1
13 1
12 1
1
0 38 0 1
1
end_operator
begin_operator
demate_old1_old1_c2_joined 
4
36 1
38 1
42 1
13 1
1
0 40 0 1
1
end_operator
begin_operator
demate_old1_old1_c2_shut 
4
15 1
14 1
13 1
12 1
1
0 40 0 1
1
end_operator
begin_operator
demate_old1_old1_c3_joined 
4
36 1
38 1
40 1
12 1
1
0 42 0 1
1
end_operator
begin_operator
demate_old1_old1_c3_shut 
4
15 1
14 1
13 1
12 1
1
0 42 0 1
1
end_operator
begin_operator
demate_old1_old1_f0_joined 
6
61 1
62 1
63 1
64 1
65 1
5 1
1
0 60 0 1
1
end_operator
begin_operator
demate_old1_old1_f0_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 60 0 1
1
end_operator
begin_operator
demate_old1_old1_f1_joined 
6
60 1
62 1
63 1
64 1
65 1
4 1
1
0 61 0 1
1
end_operator
begin_operator
demate_old1_old1_f1_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 61 0 1
1
end_operator
begin_operator
demate_old1_old1_f2_joined 
6
60 1
61 1
63 1
64 1
65 1
3 1
1
0 62 0 1
1
end_operator
begin_operator
demate_old1_old1_f2_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 62 0 1
1
end_operator
begin_operator
demate_old1_old1_f3_joined 
6
60 1
61 1
62 1
64 1
65 1
2 1
1
0 63 0 1
1
end_operator
begin_operator
demate_old1_old1_f3_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 63 0 1
1
end_operator
begin_operator
demate_old1_old1_f4_joined 
6
60 1
61 1
62 1
63 1
65 1
1 1
1
0 64 0 1
1
end_operator
begin_operator
demate_old1_old1_f4_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 64 0 1
1
end_operator
begin_operator
demate_old1_old1_f5_joined 
6
60 1
61 1
62 1
63 1
64 1
0 1
1
0 65 0 1
1
end_operator
begin_operator
demate_old1_old1_f5_shut 
6
5 1
4 1
3 1
2 1
1 1
0 1
1
0 65 0 1
1
end_operator
begin_operator
engage_new0_0 
2
98 0
90 1
1
0 66 1 0
1
end_operator
begin_operator
engage_new0_1 
2
98 0
91 1
1
0 68 1 0
1
end_operator
begin_operator
engage_new0_2 
2
98 0
92 1
1
0 70 1 0
1
end_operator
begin_operator
engage_new0_3 
2
98 0
93 1
1
0 72 1 0
1
end_operator
begin_operator
engage_new0_4 
2
98 0
94 1
1
0 74 1 0
1
end_operator
begin_operator
engage_new0_5 
2
98 0
95 1
1
0 76 1 0
1
end_operator
begin_operator
engage_new0_6 
2
98 0
96 1
1
0 78 1 0
1
end_operator
begin_operator
engage_new0_7 
2
98 0
97 1
1
0 80 1 0
1
end_operator
begin_operator
engage_new1_0 
2
52 0
44 1
1
0 20 1 0
1
end_operator
begin_operator
engage_new1_1 
2
52 0
45 1
1
0 22 1 0
1
end_operator
begin_operator
engage_new1_2 
2
52 0
46 1
1
0 24 1 0
1
end_operator
begin_operator
engage_new1_3 
2
52 0
47 1
1
0 26 1 0
1
end_operator
begin_operator
engage_new1_4 
2
52 0
48 1
1
0 28 1 0
1
end_operator
begin_operator
engage_new1_5 
2
52 0
49 1
1
0 30 1 0
1
end_operator
begin_operator
engage_new1_6 
2
52 0
50 1
1
0 32 1 0
1
end_operator
begin_operator
engage_new1_7 
2
52 0
51 1
1
0 34 1 0
1
end_operator
begin_operator
engage_old0_0 
2
66 1
99 0
1
0 90 1 0
1
end_operator
begin_operator
engage_old0_1 
2
68 1
99 0
1
0 91 1 0
1
end_operator
begin_operator
engage_old0_2 
2
70 1
99 0
1
0 92 1 0
1
end_operator
begin_operator
engage_old0_3 
2
72 1
99 0
1
0 93 1 0
1
end_operator
begin_operator
engage_old0_4 
2
74 1
99 0
1
0 94 1 0
1
end_operator
begin_operator
engage_old0_5 
2
76 1
99 0
1
0 95 1 0
1
end_operator
begin_operator
engage_old0_6 
2
78 1
99 0
1
0 96 1 0
1
end_operator
begin_operator
engage_old0_7 
2
80 1
99 0
1
0 97 1 0
1
end_operator
begin_operator
engage_old1_0 
2
20 1
53 0
1
0 44 1 0
1
end_operator
begin_operator
engage_old1_1 
2
22 1
53 0
1
0 45 1 0
1
end_operator
begin_operator
engage_old1_2 
2
24 1
53 0
1
0 46 1 0
1
end_operator
begin_operator
engage_old1_3 
2
26 1
53 0
1
0 47 1 0
1
end_operator
begin_operator
engage_old1_4 
2
28 1
53 0
1
0 48 1 0
1
end_operator
begin_operator
engage_old1_5 
2
30 1
53 0
1
0 49 1 0
1
end_operator
begin_operator
engage_old1_6 
2
32 1
53 0
1
0 50 1 0
1
end_operator
begin_operator
engage_old1_7 
2
34 1
53 0
1
0 51 1 0
1
end_operator
begin_operator
mate_new0_new0_c0_joined 
6
85 1
87 1
89 1
98 0
82 1
19 1
1
0 83 1 0
1
end_operator
begin_operator
mate_new0_new0_c0_shut 
6
98 0
82 1
19 1
18 1
17 1
16 1
1
0 83 1 0
1
end_operator
begin_operator
mate_new0_new0_c1_joined 
6
83 1
87 1
89 1
98 0
84 1
18 1
1
0 85 1 0
1
end_operator
begin_operator
mate_new0_new0_c1_shut 
6
98 0
84 1
19 1
18 1
17 1
16 1
1
0 85 1 0
1
end_operator
begin_operator
mate_new0_new0_c2_joined 
6
83 1
85 1
89 1
98 0
86 1
17 1
1
0 87 1 0
1
end_operator
begin_operator
mate_new0_new0_c2_shut 
6
98 0
86 1
19 1
18 1
17 1
16 1
1
0 87 1 0
1
end_operator
begin_operator
mate_new0_new0_c3_joined 
6
83 1
85 1
87 1
98 0
88 1
16 1
1
0 89 1 0
1
end_operator
begin_operator
mate_new0_new0_c3_shut 
6
98 0
88 1
19 1
18 1
17 1
16 1
1
0 89 1 0
1
end_operator
begin_operator
mate_new0_new0_f0_joined 
16
101 1
102 1
103 1
104 1
105 1
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
106 1
11 1
1
0 100 1 0
1
end_operator
begin_operator
mate_new0_new0_f0_shut 
16
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
106 1
11 1
10 1
9 1
8 1
7 1
6 1
1
0 100 1 0
1
end_operator
begin_operator
mate_new0_new0_f1_joined 
16
100 1
102 1
103 1
104 1
105 1
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
107 1
10 1
1
0 101 1 0
1
end_operator
begin_operator
mate_new0_new0_f1_shut 
16
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
107 1
11 1
10 1
9 1
8 1
7 1
6 1
1
0 101 1 0
1
end_operator
begin_operator
mate_new0_new0_f2_joined 
16
100 1
101 1
103 1
104 1
105 1
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
108 1
9 1
1
0 102 1 0
1
end_operator
begin_operator
mate_new0_new0_f2_shut 
16
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
108 1
11 1
10 1
9 1
8 1
7 1
6 1
1
0 102 1 0
1
end_operator
begin_operator
mate_new0_new0_f3_joined 
16
100 1
101 1
102 1
104 1
105 1
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
109 1
8 1
1
0 103 1 0
1
end_operator
begin_operator
mate_new0_new0_f3_shut 
16
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
109 1
11 1
10 1
9 1
8 1
7 1
6 1
1
0 103 1 0
1
end_operator
begin_operator
mate_new0_new0_f4_joined 
16
100 1
101 1
102 1
103 1
105 1
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
110 1
7 1
1
0 104 1 0
1
end_operator
begin_operator
mate_new0_new0_f4_shut 
16
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
110 1
11 1
10 1
9 1
8 1
7 1
6 1
1
0 104 1 0
1
end_operator
begin_operator
mate_new0_new0_f5_joined 
16
100 1
101 1
102 1
103 1
104 1
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
111 1
6 1
1
0 105 1 0
1
end_operator
begin_operator
mate_new0_new0_f5_shut 
16
98 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
111 1
11 1
10 1
9 1
8 1
7 1
6 1
1
0 105 1 0
1
end_operator
begin_operator
mate_new1_new1_c0_joined 
6
39 1
41 1
43 1
52 0
36 1
15 1
1
0 37 1 0
1
end_operator
begin_operator
mate_new1_new1_c0_shut 
6
52 0
36 1
15 1
14 1
13 1
12 1
1
0 37 1 0
1
end_operator
begin_operator
mate_new1_new1_c1_joined 
6
37 1
41 1
43 1
52 0
38 1
14 1
1
0 39 1 0
1
end_operator
begin_operator
mate_new1_new1_c1_shut 
6
52 0
38 1
15 1
14 1
13 1
12 1
1
0 39 1 0
1
end_operator
begin_operator
mate_new1_new1_c2_joined 
6
37 1
39 1
43 1
52 0
40 1
13 1
1
0 41 1 0
1
end_operator
begin_operator
mate_new1_new1_c2_shut 
6
52 0
40 1
15 1
14 1
13 1
12 1
1
0 41 1 0
1
end_operator
begin_operator
mate_new1_new1_c3_joined 
6
37 1
39 1
41 1
52 0
42 1
12 1
1
0 43 1 0
1
end_operator
begin_operator
mate_new1_new1_c3_shut 
6
52 0
42 1
15 1
14 1
13 1
12 1
1
0 43 1 0
1
end_operator
begin_operator
mate_new1_new1_f0_joined 
16
55 1
56 1
57 1
58 1
59 1
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
60 1
5 1
1
0 54 1 0
1
end_operator
begin_operator
mate_new1_new1_f0_shut 
16
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
60 1
5 1
4 1
3 1
2 1
1 1
0 1
1
0 54 1 0
1
end_operator
begin_operator
mate_new1_new1_f1_joined 
16
54 1
56 1
57 1
58 1
59 1
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
61 1
4 1
1
0 55 1 0
1
end_operator
begin_operator
mate_new1_new1_f1_shut 
16
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
61 1
5 1
4 1
3 1
2 1
1 1
0 1
1
0 55 1 0
1
end_operator
begin_operator
mate_new1_new1_f2_joined 
16
54 1
55 1
57 1
58 1
59 1
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
62 1
3 1
1
0 56 1 0
1
end_operator
begin_operator
mate_new1_new1_f2_shut 
16
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
62 1
5 1
4 1
3 1
2 1
1 1
0 1
1
0 56 1 0
1
end_operator
begin_operator
mate_new1_new1_f3_joined 
16
54 1
55 1
56 1
58 1
59 1
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
63 1
2 1
1
0 57 1 0
1
end_operator
begin_operator
mate_new1_new1_f3_shut 
16
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
63 1
5 1
4 1
3 1
2 1
1 1
0 1
1
0 57 1 0
1
end_operator
begin_operator
mate_new1_new1_f4_joined 
16
54 1
55 1
56 1
57 1
59 1
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
64 1
1 1
1
0 58 1 0
1
end_operator
begin_operator
mate_new1_new1_f4_shut 
16
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
64 1
5 1
4 1
3 1
2 1
1 1
0 1
1
0 58 1 0
1
end_operator
begin_operator
mate_new1_new1_f5_joined 
16
54 1
55 1
56 1
57 1
58 1
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
65 1
0 1
1
0 59 1 0
1
end_operator
begin_operator
mate_new1_new1_f5_shut 
16
52 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
65 1
5 1
4 1
3 1
2 1
1 1
0 1
1
0 59 1 0
1
end_operator
begin_operator
mate_old0_old0_c0_joined 
6
83 1
84 1
86 1
88 1
99 0
19 1
1
0 82 1 0
1
end_operator
begin_operator
mate_old0_old0_c0_shut 
6
83 1
99 0
19 1
18 1
17 1
16 1
1
0 82 1 0
1
end_operator
begin_operator
mate_old0_old0_c1_joined 
6
85 1
82 1
86 1
88 1
99 0
18 1
1
0 84 1 0
1
end_operator
begin_operator
mate_old0_old0_c1_shut 
6
85 1
99 0
19 1
18 1
17 1
16 1
1
0 84 1 0
1
end_operator
begin_operator
mate_old0_old0_c2_joined 
6
87 1
82 1
84 1
88 1
99 0
17 1
1
0 86 1 0
1
end_operator
begin_operator
mate_old0_old0_c2_shut 
6
87 1
99 0
19 1
18 1
17 1
16 1
1
0 86 1 0
1
end_operator
begin_operator
mate_old0_old0_c3_joined 
6
89 1
82 1
84 1
86 1
99 0
16 1
1
0 88 1 0
1
end_operator
begin_operator
mate_old0_old0_c3_shut 
6
89 1
99 0
19 1
18 1
17 1
16 1
1
0 88 1 0
1
end_operator
begin_operator
mate_old0_old0_f0_joined 
8
100 1
107 1
108 1
109 1
110 1
111 1
99 0
11 1
1
0 106 1 0
1
end_operator
begin_operator
mate_old0_old0_f0_shut 
8
100 1
99 0
11 1
10 1
9 1
8 1
7 1
6 1
1
0 106 1 0
1
end_operator
begin_operator
mate_old0_old0_f1_joined 
8
101 1
106 1
108 1
109 1
110 1
111 1
99 0
10 1
1
0 107 1 0
1
end_operator
begin_operator
mate_old0_old0_f1_shut 
8
101 1
99 0
11 1
10 1
9 1
8 1
7 1
6 1
1
0 107 1 0
1
end_operator
begin_operator
mate_old0_old0_f2_joined 
8
102 1
106 1
107 1
109 1
110 1
111 1
99 0
9 1
1
0 108 1 0
1
end_operator
begin_operator
mate_old0_old0_f2_shut 
8
102 1
99 0
11 1
10 1
9 1
8 1
7 1
6 1
1
0 108 1 0
1
end_operator
begin_operator
mate_old0_old0_f3_joined 
8
103 1
106 1
107 1
108 1
110 1
111 1
99 0
8 1
1
0 109 1 0
1
end_operator
begin_operator
mate_old0_old0_f3_shut 
8
103 1
99 0
11 1
10 1
9 1
8 1
7 1
6 1
1
0 109 1 0
1
end_operator
begin_operator
mate_old0_old0_f4_joined 
8
104 1
106 1
107 1
108 1
109 1
111 1
99 0
7 1
1
0 110 1 0
1
end_operator
begin_operator
mate_old0_old0_f4_shut 
8
104 1
99 0
11 1
10 1
9 1
8 1
7 1
6 1
1
0 110 1 0
1
end_operator
begin_operator
mate_old0_old0_f5_joined 
8
105 1
106 1
107 1
108 1
109 1
110 1
99 0
6 1
1
0 111 1 0
1
end_operator
begin_operator
mate_old0_old0_f5_shut 
8
105 1
99 0
11 1
10 1
9 1
8 1
7 1
6 1
1
0 111 1 0
1
end_operator
begin_operator
mate_old1_old1_c0_joined 
6
37 1
38 1
40 1
42 1
53 0
15 1
1
0 36 1 0
1
end_operator
begin_operator
mate_old1_old1_c0_shut 
6
37 1
53 0
15 1
14 1
13 1
12 1
1
0 36 1 0
1
end_operator
begin_operator
mate_old1_old1_c1_joined 
6
39 1
36 1
40 1
42 1
53 0
14 1
1
0 38 1 0
1
end_operator
begin_operator
mate_old1_old1_c1_shut 
6
39 1
53 0
15 1
14 1
13 1
12 1
1
0 38 1 0
1
end_operator
begin_operator
mate_old1_old1_c2_joined 
6
41 1
36 1
38 1
42 1
53 0
13 1
1
0 40 1 0
1
end_operator
begin_operator
mate_old1_old1_c2_shut 
6
41 1
53 0
15 1
14 1
13 1
12 1
1
0 40 1 0
1
end_operator
begin_operator
mate_old1_old1_c3_joined 
6
43 1
36 1
38 1
40 1
53 0
12 1
1
0 42 1 0
1
end_operator
begin_operator
mate_old1_old1_c3_shut 
6
43 1
53 0
15 1
14 1
13 1
12 1
1
0 42 1 0
1
end_operator
begin_operator
mate_old1_old1_f0_joined 
8
54 1
61 1
62 1
63 1
64 1
65 1
53 0
5 1
1
0 60 1 0
1
end_operator
begin_operator
mate_old1_old1_f0_shut 
8
54 1
53 0
5 1
4 1
3 1
2 1
1 1
0 1
1
0 60 1 0
1
end_operator
begin_operator
mate_old1_old1_f1_joined 
8
55 1
60 1
62 1
63 1
64 1
65 1
53 0
4 1
1
0 61 1 0
1
end_operator
begin_operator
mate_old1_old1_f1_shut 
8
55 1
53 0
5 1
4 1
3 1
2 1
1 1
0 1
1
0 61 1 0
1
end_operator
begin_operator
mate_old1_old1_f2_joined 
8
56 1
60 1
61 1
63 1
64 1
65 1
53 0
3 1
1
0 62 1 0
1
end_operator
begin_operator
mate_old1_old1_f2_shut 
8
56 1
53 0
5 1
4 1
3 1
2 1
1 1
0 1
1
0 62 1 0
1
end_operator
begin_operator
mate_old1_old1_f3_joined 
8
57 1
60 1
61 1
62 1
64 1
65 1
53 0
2 1
1
0 63 1 0
1
end_operator
begin_operator
mate_old1_old1_f3_shut 
8
57 1
53 0
5 1
4 1
3 1
2 1
1 1
0 1
1
0 63 1 0
1
end_operator
begin_operator
mate_old1_old1_f4_joined 
8
58 1
60 1
61 1
62 1
63 1
65 1
53 0
1 1
1
0 64 1 0
1
end_operator
begin_operator
mate_old1_old1_f4_shut 
8
58 1
53 0
5 1
4 1
3 1
2 1
1 1
0 1
1
0 64 1 0
1
end_operator
begin_operator
mate_old1_old1_f5_joined 
8
59 1
60 1
61 1
62 1
63 1
64 1
53 0
0 1
1
0 65 1 0
1
end_operator
begin_operator
mate_old1_old1_f5_shut 
8
59 1
53 0
5 1
4 1
3 1
2 1
1 1
0 1
1
0 65 1 0
1
end_operator
begin_operator
open_s0_0 
0
1
0 19 1 0
1
end_operator
begin_operator
open_s0_1 
0
1
0 18 1 0
1
end_operator
begin_operator
open_s0_2 
0
1
0 17 1 0
1
end_operator
begin_operator
open_s0_3 
0
1
0 16 1 0
1
end_operator
begin_operator
open_s1_0 
0
1
0 15 1 0
1
end_operator
begin_operator
open_s1_1 
0
1
0 14 1 0
1
end_operator
begin_operator
open_s1_2 
0
1
0 13 1 0
1
end_operator
begin_operator
open_s1_3 
0
1
0 12 1 0
1
end_operator
begin_operator
open_v0_0 
0
1
0 11 1 0
1
end_operator
begin_operator
open_v0_1 
0
1
0 10 1 0
1
end_operator
begin_operator
open_v0_2 
0
1
0 9 1 0
1
end_operator
begin_operator
open_v0_3 
0
1
0 8 1 0
1
end_operator
begin_operator
open_v0_4 
0
1
0 7 1 0
1
end_operator
begin_operator
open_v0_5 
0
1
0 6 1 0
1
end_operator
begin_operator
open_v1_0 
0
1
0 5 1 0
1
end_operator
begin_operator
open_v1_1 
0
1
0 4 1 0
1
end_operator
begin_operator
open_v1_2 
0
1
0 3 1 0
1
end_operator
begin_operator
open_v1_3 
0
1
0 2 1 0
1
end_operator
begin_operator
open_v1_4 
0
1
0 1 1 0
1
end_operator
begin_operator
open_v1_5 
0
1
0 0 1 0
1
end_operator
begin_operator
reach_goal0 
72
66 0
68 0
70 0
72 0
74 0
76 0
78 0
80 0
83 0
85 0
87 0
89 0
100 0
101 0
102 0
103 0
104 0
105 0
67 0
69 0
71 0
73 0
75 0
77 0
79 0
81 0
20 0
22 0
24 0
26 0
28 0
30 0
32 0
34 0
37 0
39 0
41 0
43 0
54 0
55 0
56 0
57 0
58 0
59 0
21 0
23 0
25 0
27 0
29 0
31 0
33 0
35 0
19 0
18 0
17 0
16 0
15 0
14 0
13 0
12 0
11 0
10 0
9 0
8 0
7 0
6 0
5 0
4 0
3 0
2 0
1 0
0 0
1
0 112 -1 0
1
end_operator
begin_operator
release_new0_0 
0
2
0 66 0 1
0 67 -1 1
1
end_operator
begin_operator
release_new0_1 
0
2
0 68 0 1
0 69 -1 1
1
end_operator
begin_operator
release_new0_2 
0
2
0 70 0 1
0 71 -1 1
1
end_operator
begin_operator
release_new0_3 
0
2
0 72 0 1
0 73 -1 1
1
end_operator
begin_operator
release_new0_4 
0
2
0 74 0 1
0 75 -1 1
1
end_operator
begin_operator
release_new0_5 
0
2
0 76 0 1
0 77 -1 1
1
end_operator
begin_operator
release_new0_6 
0
2
0 78 0 1
0 79 -1 1
1
end_operator
begin_operator
release_new0_7 
0
2
0 80 0 1
0 81 -1 1
1
end_operator
begin_operator
release_new1_0 
0
2
0 20 0 1
0 21 -1 1
1
end_operator
begin_operator
release_new1_1 
0
2
0 22 0 1
0 23 -1 1
1
end_operator
begin_operator
release_new1_2 
0
2
0 24 0 1
0 25 -1 1
1
end_operator
begin_operator
release_new1_3 
0
2
0 26 0 1
0 27 -1 1
1
end_operator
begin_operator
release_new1_4 
0
2
0 28 0 1
0 29 -1 1
1
end_operator
begin_operator
release_new1_5 
0
2
0 30 0 1
0 31 -1 1
1
end_operator
begin_operator
release_new1_6 
0
2
0 32 0 1
0 33 -1 1
1
end_operator
begin_operator
release_new1_7 
0
2
0 34 0 1
0 35 -1 1
1
end_operator
begin_operator
release_old0_0 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 90 0 1
1
end_operator
begin_operator
release_old0_1 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 91 0 1
1
end_operator
begin_operator
release_old0_2 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 92 0 1
1
end_operator
begin_operator
release_old0_3 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 93 0 1
1
end_operator
begin_operator
release_old0_4 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 94 0 1
1
end_operator
begin_operator
release_old0_5 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 95 0 1
1
end_operator
begin_operator
release_old0_6 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 96 0 1
1
end_operator
begin_operator
release_old0_7 
10
82 1
84 1
86 1
88 1
106 1
107 1
108 1
109 1
110 1
111 1
1
0 97 0 1
1
end_operator
begin_operator
release_old1_0 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 44 0 1
1
end_operator
begin_operator
release_old1_1 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 45 0 1
1
end_operator
begin_operator
release_old1_2 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 46 0 1
1
end_operator
begin_operator
release_old1_3 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 47 0 1
1
end_operator
begin_operator
release_old1_4 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 48 0 1
1
end_operator
begin_operator
release_old1_5 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 49 0 1
1
end_operator
begin_operator
release_old1_6 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 50 0 1
1
end_operator
begin_operator
release_old1_7 
10
36 1
38 1
40 1
42 1
60 1
61 1
62 1
63 1
64 1
65 1
1
0 51 0 1
1
end_operator
begin_operator
seat_new0 
1
99 1
1
0 98 1 0
1
end_operator
begin_operator
seat_new1 
1
53 1
1
0 52 1 0
1
end_operator
begin_operator
seat_old0 
1
98 1
1
0 99 1 0
1
end_operator
begin_operator
seat_old1 
1
52 1
1
0 53 1 0
1
end_operator
begin_operator
shut_s0_0 
0
1
0 19 0 1
1
end_operator
begin_operator
shut_s0_1 
0
1
0 18 0 1
1
end_operator
begin_operator
shut_s0_2 
0
1
0 17 0 1
1
end_operator
begin_operator
shut_s0_3 
0
1
0 16 0 1
1
end_operator
begin_operator
shut_s1_0 
0
1
0 15 0 1
1
end_operator
begin_operator
shut_s1_1 
0
1
0 14 0 1
1
end_operator
begin_operator
shut_s1_2 
0
1
0 13 0 1
1
end_operator
begin_operator
shut_s1_3 
0
1
0 12 0 1
1
end_operator
begin_operator
shut_v0_0 
0
1
0 11 0 1
1
end_operator
begin_operator
shut_v0_1 
0
1
0 10 0 1
1
end_operator
begin_operator
shut_v0_2 
0
1
0 9 0 1
1
end_operator
begin_operator
shut_v0_3 
0
1
0 8 0 1
1
end_operator
begin_operator
shut_v0_4 
0
1
0 7 0 1
1
end_operator
begin_operator
shut_v0_5 
0
1
0 6 0 1
1
end_operator
begin_operator
shut_v1_0 
0
1
0 5 0 1
1
end_operator
begin_operator
shut_v1_1 
0
1
0 4 0 1
1
end_operator
begin_operator
shut_v1_2 
0
1
0 3 0 1
1
end_operator
begin_operator
shut_v1_3 
0
1
0 2 0 1
1
end_operator
begin_operator
shut_v1_4 
0
1
0 1 0 1
1
end_operator
begin_operator
shut_v1_5 
0
1
0 0 0 1
1
end_operator
begin_operator
torque_new0_0 
1
66 0
1
0 67 1 0
1
end_operator
begin_operator
torque_new0_1 
1
68 0
1
0 69 1 0
1
end_operator
begin_operator
torque_new0_2 
1
70 0
1
0 71 1 0
1
end_operator
begin_operator
torque_new0_3 
1
72 0
1
0 73 1 0
1
end_operator
begin_operator
torque_new0_4 
1
74 0
1
0 75 1 0
1
end_operator
begin_operator
torque_new0_5 
1
76 0
1
0 77 1 0
1
end_operator
begin_operator
torque_new0_6 
1
78 0
1
0 79 1 0
1
end_operator
begin_operator
torque_new0_7 
1
80 0
1
0 81 1 0
1
end_operator
begin_operator
torque_new1_0 
1
20 0
1
0 21 1 0
1
end_operator
begin_operator
torque_new1_1 
1
22 0
1
0 23 1 0
1
end_operator
begin_operator
torque_new1_2 
1
24 0
1
0 25 1 0
1
end_operator
begin_operator
torque_new1_3 
1
26 0
1
0 27 1 0
1
end_operator
begin_operator
torque_new1_4 
1
28 0
1
0 29 1 0
1
end_operator
begin_operator
torque_new1_5 
1
30 0
1
0 31 1 0
1
end_operator
begin_operator
torque_new1_6 
1
32 0
1
0 33 1 0
1
end_operator
begin_operator
torque_new1_7 
1
34 0
1
0 35 1 0
1
end_operator
0

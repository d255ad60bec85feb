"""Where the published figures come from, each source once."""

from __future__ import annotations

from tests.reference.published import Source

OPENSTAX_1 = Source(
    "OpenStax 1",
    "Franklin, Graybeal and Cooper, Principles of Accounting, Volume 1: Financial Accounting, "
    "OpenStax, Rice University, 2019",
)
OPENSTAX_2 = Source(
    "OpenStax 2",
    "Franklin, Graybeal and Cooper, Principles of Accounting, Volume 2: Managerial Accounting, "
    "OpenStax, Rice University, 2019",
)
BAMBER = Source(
    "Bamber, Braun and Harrison",
    "Bamber, Braun and Harrison, Managerial Accounting, Pearson; answers read on public pages",
)
HEISINGER = Source(
    "Heisinger and Hoyle 2012", "Heisinger and Hoyle, Managerial Accounting, Saylor, 2012"
)
CHEMICAL = Source(
    "Chemical mixture",
    "A cost-accounting exercise of two materials with a standard loss of 5 %, with its solution on "
    "a public page of questions in accountancy",
)
LPU = Source(
    "LPU DMGT514", "Lovely Professional University, DMGT514 Management Control Systems, course text"
)
DRURY = Source(
    "Drury", "Drury, Management and Cost Accounting; the example as read on public pages"
)
HORNGREN = Source(
    "Horngren, Datar and Rajan",
    "Horngren, Datar and Rajan, Cost Accounting; the exercise as read on a public page",
)
PRICE_TABLE = Source(
    "Handbook table of price changes",
    '"See what happens when you either increase prices or decrease them", a public one-page '
    "handbook table, printed in whole percent",
)
MARKETING_NOTE = Source(
    "Marketing course note",
    'A university\'s public marketing course note, "Computing Percent Breakeven Price Change"',
)
LERNER = Source(
    "Lerner 1934",
    "Lerner, The Review of Economic Studies 1 (1934) 157-175; the rule for a monopolist's price",
)
TRAIN = Source(
    "Train, chapter 3",
    "Train, Discrete Choice Methods with Simulation, Cambridge University Press, chapter 3 (with "
    "Phillips, Pricing and Revenue Optimization, chapter 3, for the markup)",
)
BENJAMINI = Source(
    "Benjamini and Hochberg 1995",
    "Benjamini and Hochberg, Journal of the Royal Statistical Society B 57 (1995) 289-300",
)
STUDENT = Source("Student 1908", "Student, Biometrika 6 (1908) 1-25")
NEWCOMBE = Source("Newcombe 1998", "Newcombe, Statistics in Medicine 17 (1998) 857-872")
WRIGHT_MANUAL = Source(
    "learningCurve 1.1.2",
    "learningCurve, reference manual, version 1.1.2, Air Force Institute of Technology",
)
STUDY_TEXT = Source("Accountants' study text", "A study text for accountants, chapter 15")
WRIGHT_TABLES = Source(
    "Learning-curve tables",
    "Coefficient tables of textbooks in operations management, columns for Wright's curve",
)
SPECTOR = Source(
    "Spector and Mazzeo 1980",
    "Spector and Mazzeo, Journal of Economic Education 11 (1980) 37-44: data; Greene, Econometric "
    "Analysis, chapter on binary choice: estimates",
)
LME4 = Source(
    "lme4 and MixedModels",
    "Bates, Mächler, Bolker and Walker, test suites of lme4 and MixedModels.jl; data of Davies and "
    "Goldsmith (1972), Box and Tiao (1973) and Belenky and others (2003)",
)
BRUNE = Source(
    "Brune and others 2024", "The printed fits that come with Brune, Ortner and Filzmoser (2024)"
)
NIST = Source(
    "NIST StRD", "NIST, Statistical Reference Datasets: certified values of SiRstv, AtmWtAg, Norris"
)
EFRON = Source("Efron and Morris 1977", "Efron and Morris, Scientific American 236 (1977) 119-127")
COBB = Source("Cobb 1978", "Cobb, Biometrika 65 (1978) 243-251, table 1: annual flow of the Nile")
HEIZER = Source(
    "Heizer, Render and Munson",
    "Heizer, Render and Munson, Operations Management, chapter 12, Managing Inventory",
)
HOPPER = Source(
    "Hopper and Turton 2001",
    "Hopper and Turton, European Journal of Operational Research 128 (2001) 34-57, table 1",
)
BURKE = Source(
    "Burke and others 2004", "Burke, Kendall and Whitwell, Operations Research 52 (2004) 655-671"
)
SAMUELSON = Source(
    "Samuelson and Marks 2012",
    "Samuelson and Marks, Managerial Economics, 7th edition, 2012, chapter 13",
)
RAIFFA = Source(
    "Raiffa and Schlaifer 1961",
    "Raiffa and Schlaifer, Applied Statistical Decision Theory, 1961, unit normal loss integral",
)
CUTLER = Source(
    "Cutler and Ederer 1958", "Cutler and Ederer, Journal of Chronic Diseases 8 (1958) 699-712"
)
GEHAN = Source(
    "Gehan 1965",
    "Gehan, Biometrika 52 (1965) 203-223; data of Freireich and others, Blood 21 (1963) 699-716",
)
GELMAN = Source(
    "Gelman and others 2013",
    "Gelman and others, Bayesian Data Analysis, 3rd edition, 2013, table 5.1 (Tarone 1982); the "
    "maximum likelihood as printed with a package for R that carries the data",
)
RUBIN = Source("Rubin 1981", "Rubin, Annals of Statistics 9 (1981) 130-134")
HILLIER = Source(
    "Hillier and Lieberman",
    "Hillier and Lieberman, Introduction to Operations Research, chapter 3, the glass company "
    "with three plants",
)
BLS = Source(
    "BLS ECEC",
    "U.S. Bureau of Labor Statistics, Employer Costs for Employee Compensation, releases "
    "USDL-25-1358 (June 2025) and USDL-25-0335 (December 2024)",
)
FEE_CAP = Source(
    "12 CFR 235",
    "12 CFR 235.3 and 235.4, most that an issuer may take of a debit payment; read on a secondary "
    "page",
)
NIST_811 = Source(
    "NIST SP 811",
    "Thompson and Taylor, NIST Special Publication 811, Guide for the Use of the International "
    "System of Units, 2008",
)
YARD = Source(
    "Yard and pound agreement",
    "International yard and pound agreement, 1 July 1959; read on pages that quote it",
)
SI = Source("SI brochure", "BIPM, The International System of Units, 9th edition, 2019, table 7")
FUEL_GUIDE = Source(
    "40 CFR 600.315-08",
    "40 CFR 600.315-08, classes of comparable automobiles, as restated in the U.S. DOE and EPA "
    "Fuel Economy Guide, vehicle size classes",
)
JOURNALS = Source(
    "Kleiber and Zeileis",
    "Kleiber and Zeileis, Applied Econometrics with R, 2008 (with Stock and Watson, Introduction "
    "to Econometrics), demand for economics journals",
)
STOCK_WATSON = Source(
    "Stock and Watson",
    "Stock and Watson, Introduction to Econometrics, demand for cigarettes, 1995",
)
ISLR = Source(
    "James and others",
    "James, Witten, Hastie and Tibshirani, An Introduction to Statistical Learning",
)
SCIKIT_LEARN = Source("scikit-learn", "scikit-learn, documentation of its metrics")
SCORING = Source(
    "scoringrules",
    "scoringrules, documentation; the identity is that of Gneiting and Raftery (2007)",
)
GNEITING = Source(
    "Gneiting and Raftery 2007",
    "Gneiting and Raftery, Journal of the American Statistical Association 102 (2007) 359-378; the "
    "first figure as the documentation of scoringrules prints it",
)
ISO_80000 = Source(
    "ISO 80000-1", "ISO 80000-1:2009, Quantities and units, part 1, annex B, rounding of numbers"
)
EURO = Source(
    "Regulation (EC) 1103/97",
    "Council Regulation (EC) No 1103/97, article 5: amounts to the nearest cent, half a cent up",
)
COMAP = Source(
    "For All Practical Purposes",
    "For All Practical Purposes, Freeman, 10th edition, chapter 14, example 6: the apportionment "
    "bill of 1792 by Hamilton's method; populations of the census of 1790",
)
ISO_4217 = Source("ISO 4217", "ISO 4217, Codes for the representation of currencies, list one")
ISO_8601 = Source(
    "ISO 8601", "ISO 8601:2000, Representation of dates and times, examples of sections 5.2 and 5.4"
)
ECMA_376 = Source(
    "ECMA-376", "ECMA-376, Office Open XML, SpreadsheetML, date representation, examples"
)
RFC_4180 = Source(
    "RFC 4180", "Shafranovich, RFC 4180, Common Format and MIME Type for CSV Files, 2005"
)
US_CODE = Source("31 U.S.C. 1102", "31 U.S.C. 1102, fiscal year of the Treasury")
BICKEL = Source(
    "Bickel and others 1975",
    "Bickel, Hammel and O'Connell, Science 187 (1975) 398-404: data; Mantel and Haenszel (1959) "
    "and Robins, Breslow and Greenland (1986): estimate and variance",
)
AGRESTI = Source(
    "Agresti 1990", "Agresti, Categorical Data Analysis, Wiley, 1990, pages 231 to 237"
)
CP1252 = Source(
    "CP1252 table", "Unicode Consortium, cp1252 to Unicode table, version 2.01: Windows-1252"
)
